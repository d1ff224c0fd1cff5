"""Somebody who is erased is nowhere any more, and the record still holds."""

from collections.abc import Iterator

import pytest
from django.apps import apps
from django.core.files.storage import default_storage
from django.db import models, transaction
from django.utils import timezone

from academy import ledger, people, personal
from academy.models import Person, Role
from academy.refusals import Refused
from assessments.models import Appeal, Attempt, ImpactReview, Outcome, Photo, SignOff
from assessments.models.appeals import AppealResult
from tests.factories.centres import NOON, BusyCentre, busy_centre
from tests.site.pages import PAGES

OURS = ("academy", "rigs", "assessments")
TEXT = (models.CharField, models.TextField, models.JSONField, models.FileField, models.BinaryField)
NAME, EMAIL = "Zebedee Quillfeather", "zebedee.quillfeather@example.org"
WRITTEN = f"{NAME} <{EMAIL}>"


def text_fields(model: type[models.Model]) -> Iterator[models.Field]:
    """Those that hold what was typed: a choice holds one of ours, and a salt is wiped with what it seals."""
    for field in model._meta.local_fields:
        if isinstance(field, TEXT) and not field.choices and field.name != "salt":
            yield field


@pytest.mark.parametrize(("app", "keeper"), list(zip(OURS, personal.keepers(), strict=True)), ids=OURS)
def test_every_text_has_a_decision_on_what_erasure_does_with_it(app, keeper):
    there = {
        f"{model.__name__}.{field.name}"
        for model in apps.get_app_config(app).get_models()
        for field in text_fields(model)
    }
    wiped = [f"{texts.model.partition('.')[2]}.{name}" for texts in keeper.texts for name in texts.fields]
    kept = [name for names in keeper.kept.values() for name in names]

    assert sorted([*wiped, *kept]) == sorted(there)
    assert all(texts.model.startswith(f"{app}.") for texts in keeper.texts)


@pytest.fixture(scope="module")
def _made(django_db_setup, django_db_blocker) -> Iterator[BusyCentre]:
    with django_db_blocker.unblock(), transaction.atomic():
        yield busy_centre()
        transaction.set_rollback(True)


@pytest.fixture
def centre(_made, db, monkeypatch) -> BusyCentre:
    """A centre at work, which each test finds as it was."""
    monkeypatch.setattr(timezone, "now", lambda: NOON)
    return _made


def write_everywhere() -> set[str]:
    """Put the name into every text that may hold one. Returns those that have a row at all."""
    written = set()
    for keeper in personal.keepers():
        for texts in keeper.texts:
            fields = texts.rows.model._meta.get_field
            for name in texts.fields:
                if (fields(name).max_length or 1000) < len(WRITTEN):
                    continue
                if texts.rows.exclude(**{name: ""}).update(**{name: WRITTEN}):
                    written.add(f"{texts.model}.{name}")
    return written


def rename(person: Person) -> Person:
    Person.objects.filter(pk=person.pk).update(name=NAME, email=EMAIL)
    person.refresh_from_db()
    return person


def settle(centre: BusyCentre) -> None:
    """Close the reviews and the appeals that hold what they are about."""
    by = centre.people[Role.Kind.MANAGER]
    Appeal.objects.open().update(result=AppealResult.WITHDRAWN, decided_at=NOON, decided_by=by)
    ImpactReview.objects.update(marked_at=NOON, closed_at=NOON, closed_by=by, closure="Settled.")


def where(*sought: str) -> set[str]:
    """Each field of any model, ours or not, in which one of these stands."""
    return {
        f"{model._meta.label}.{field.name}"
        for model in apps.get_models()
        for field in model._meta.local_fields
        if isinstance(field, TEXT)
        for value in model._base_manager.values_list(field.name, flat=True).iterator()
        if any(each.casefold() in str(value).casefold() for each in sought)
    }


def erase(person: Person, *, by: Person, committed) -> None:
    with committed(execute=True):
        people.erase(person=person, by=by, at=NOON)


def test_a_candidate_is_nowhere_any_more_and_the_record_holds(
    client, centre, django_capture_on_commit_callbacks
):
    manager = centre.people[Role.Kind.MANAGER]
    person = rename(centre.people[Role.Kind.CANDIDATE])
    written = write_everywhere()
    assert {"assessments.SignOff.feedback", "assessments.StepRecord.note", "rigs.Hold.reason"} <= written
    photo = Photo.objects.filter(attempt__candidate=person)[0]
    salts = dict(SignOff.objects.values_list("pk", "salt"))
    with pytest.raises(Refused, match="an appeal is open; impact review 1 is open"):
        people.erase(person=person, by=manager, at=NOON)
    settle(centre)

    erase(person, by=manager, committed=django_capture_on_commit_callbacks)

    assert where(NAME, EMAIL) == set()
    assert isinstance(ledger.verify(centre=centre.centre), ledger.Intact)
    assert not default_storage.exists(photo.file.name)
    digest = Photo.objects.get(pk=photo.pk)
    assert (digest.file.name, digest.sha256) == ("", photo.sha256)
    assert all(salts[each.pk] != each.salt for each in SignOff.objects.all())
    client.force_login(manager)
    for page in PAGES:
        if page.is_open_to(Role.Kind.MANAGER) and page.shows:
            answer = client.get(page.address(centre))
            if answer.get("Content-Type", "").startswith("text/html"):
                assert NAME not in answer.text and EMAIL not in answer.text, page.label


def test_the_figures_and_the_decisions_stay(centre, django_capture_on_commit_callbacks):
    person = centre.people[Role.Kind.CANDIDATE]
    settle(centre)
    marked = Attempt.objects.of(person).marked()
    before = {each.pk: each.readings.count() for each in marked}
    outcomes = dict(Outcome.objects.values_list("pk", "inputs_sha256"))

    erase(
        person,
        by=centre.people[Role.Kind.MANAGER],
        committed=django_capture_on_commit_callbacks,
    )

    assert {each.pk: each.readings.count() for each in marked} == before
    assert dict(Outcome.objects.values_list("pk", "inputs_sha256")) == outcomes
    assert before


def test_an_assessor_is_taken_out_of_what_they_wrote_about_others(centre, django_capture_on_commit_callbacks):
    manager = centre.people[Role.Kind.MANAGER]
    person = rename(centre.people[Role.Kind.ASSESSOR])
    SignOff.objects.update(feedback=f"Safe, says {NAME.upper()}; write to {EMAIL}. Not {NAME}son.")

    erase(person, by=manager, committed=django_capture_on_commit_callbacks)

    told = set(SignOff.objects.values_list("feedback", flat=True))
    assert told == {f"Safe, says [erased]; write to [erased]. Not {NAME}son."}
    assert isinstance(ledger.verify(centre=centre.centre), ledger.Intact)
