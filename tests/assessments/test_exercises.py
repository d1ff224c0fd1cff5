"""Standardisation: decided blind, compared, ruled on, and read by whoever was away."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from academy import ledger, people
from academy.models import LedgerEntry, Role
from academy.notices import notices_for
from academy.refusals import Refused
from assessments import exercises
from assessments.models import ConflictOfInterest, Exercise
from assessments.models.decisions import Decision
from tests.factories import assessments as made
from tests.factories.academy import person_with
from tests.factories.assessments import Work

pytestmark = pytest.mark.django_db
LATER = timedelta(days=2)
MISSED = Work(skipped=frozenset({"prove-after"}))
COMPETENT, NOT_YET = Decision.COMPETENT, Decision.NOT_YET_COMPETENT


@pytest.fixture
def verifier(bench):
    return person_with(Role.Kind.VERIFIER, by=bench.manager)


@pytest.fixture
def others(bench):
    return [person_with(Role.Kind.ASSESSOR, by=bench.manager) for _ in range(2)]


@pytest.fixture
def signed(bench):
    """A clean one, one with a safety-critical step missed, another clean one."""
    works = (Work(), MISSED, Work())
    return [
        made.signed_off(
            bench,
            work,
            candidate=made.another_candidate(bench),
            decision=NOT_YET if work is MISSED else COMPETENT,
        )
        for work in works
    ]


def opened(bench, verifier, sign_offs, assessors, **given):
    return exercises.open_exercise(
        centre=bench.centre,
        title="Switch test, spring",
        sign_offs=sign_offs,
        assessors=assessors,
        due_on=(bench.at + LATER).date() + timedelta(days=7),
        by=verifier,
        at=bench.at + LATER,
        **given,
    )


@pytest.fixture
def exercise(bench, verifier, signed, others):
    return opened(bench, verifier, signed, [bench.assessor, *others])


def decide(item, assessor, decision, *, at, reason="Every pair tested."):
    return exercises.decide(item=item, assessor=assessor, decision=decision, reason=reason, at=at)


def decide_all(exercise, assessor, *, at, otherwise_on=()):
    """Competent on all but those where the safety-critical step is missing, unless said otherwise."""
    for item in exercise.items.select_related("outcome"):
        strict = (item.outcome.procedure == "not-met") != (item.attempt_id in otherwise_on)
        decide(item, assessor, NOT_YET if strict else COMPETENT, at=at)


@pytest.fixture
def closed(bench, verifier, exercise, others, signed):
    """Two decided everything, and not alike on the safety-critical one; the third decided nothing."""
    at = bench.at + LATER
    decide_all(exercise, bench.assessor, at=at)
    decide_all(exercise, others[0], at=at, otherwise_on={signed[1].attempt_id})
    return exercises.close(exercise=exercise, by=verifier, at=at)


class TestOpening:
    def test_the_attempts_get_numbers_and_keep_the_marking_that_was_decided_on(self, exercise, signed):
        items = list(exercise.items.order_by("position"))
        assert [item.position for item in items] == [1, 2, 3]
        assert {item.outcome_id for item in items} == {each.outcome_id for each in signed}

    @pytest.mark.parametrize("few", [0, 1])
    def test_one_attempt_is_too_few(self, bench, verifier, signed, others, few):
        with pytest.raises(Refused, match="two attempts at least") as refusal:
            opened(bench, verifier, signed[:few], others)
        assert refusal.value.field == "sign_offs"

    def test_one_assessor_is_too_few(self, bench, verifier, signed, others):
        with pytest.raises(Refused, match="two assessors at least"):
            opened(bench, verifier, signed, others[:1])

    def test_practice_is_no_material(self, bench, verifier, others, signed):
        practice = made.signed_off(bench, purpose="practice")
        with pytest.raises(Refused, match="all of them decided"):
            opened(bench, verifier, [practice, *signed], others)

    def test_only_a_verifier_in_post_opens_one(self, bench, signed, others):
        with pytest.raises(Refused, match="in post today"):
            opened(bench, bench.manager, signed, others)

    def test_whoever_chooses_does_not_decide(self, bench, verifier, signed, others):
        people.grant_role(
            person=verifier,
            kind=Role.Kind.ASSESSOR,
            starts_on=bench.at.date(),
            by=bench.manager,
            at=bench.at,
        )
        with pytest.raises(Refused, match="leave yourself out"):
            opened(bench, verifier, signed, [verifier, *others])

    def test_nobody_is_asked_who_is_no_assessor(self, bench, verifier, signed, others):
        with pytest.raises(Refused, match="isn’t an assessor"):
            opened(bench, verifier, signed, [*others, bench.technician])

    def test_a_conflict_of_interest_keeps_an_attempt_out(self, bench, verifier, signed, others):
        ConflictOfInterest.objects.create(
            person=others[0],
            candidate=signed[0].attempt.candidate,
            kind="tutor",
            starts_on=bench.at.date(),
            declared_by=others[0],
            declared_at=bench.at,
        )
        with pytest.raises(Refused, match="conflict of interest") as refusal:
            opened(bench, verifier, signed, others)
        assert refusal.value.field == "sign_offs"


class TestDeciding:
    def test_once_with_a_reason_and_only_by_those_asked(self, bench, exercise, others):
        item, at = exercise.items.first(), bench.at + LATER
        with pytest.raises(Refused, match="what you decided it by"):
            decide(item, others[0], COMPETENT, at=at, reason=" ")
        decide(item, others[0], COMPETENT, at=at)
        with pytest.raises(Refused, match="already"):
            decide(item, others[0], NOT_YET, at=at)
        with pytest.raises(Refused, match="weren’t asked"):
            decide(item, person_with(Role.Kind.ASSESSOR, by=bench.manager), COMPETENT, at=at)

    def test_whose_role_has_ended_decides_no_more(self, bench, exercise, others):
        role = others[0].roles.get()
        people.end_role(role=role, on=bench.at.date(), by=bench.manager, at=bench.at)
        with pytest.raises(Refused, match="in post today"):
            decide(exercise.items.first(), others[0], COMPETENT, at=bench.at + LATER)

    def test_not_after_it_was_closed(self, bench, closed, others):
        with pytest.raises(Refused, match="was closed"):
            decide(closed.items.first(), others[1], COMPETENT, at=bench.at + LATER)


class TestComparing:
    def test_nothing_is_compared_while_it_is_open(self, exercise):
        assert exercises.comparison(exercise) is None

    def test_where_they_differ_and_the_safety_critical_ones_apart(self, bench, closed, others, signed):
        found = exercises.comparison(closed)
        assert set(found.assessors) == {bench.assessor, others[0]}
        (critical,) = closed.items.filter(attempt=signed[1].attempt_id)
        assert found.compared.differing == found.compared.critical == (str(critical.pk),)
        assert found.compared.alike == 2
        assert {assessor for _, assessor in found.own} == {bench.assessor.pk}

    def test_with_one_who_decided_everything_there_is_nothing_to_compare(self, bench, verifier, exercise):
        decide_all(exercise, bench.assessor, at=bench.at + LATER)
        closed = exercises.close(exercise=exercise, by=verifier, at=bench.at + LATER)
        assert exercises.comparison(closed).compared is None

    def test_it_is_closed_once(self, bench, verifier, closed):
        with pytest.raises(Refused, match="already"):
            exercises.close(exercise=closed, by=verifier, at=bench.at + LATER)

    def test_the_ledger_holds_it_without_a_sentence(self, bench, closed):
        entry = LedgerEntry.objects.filter(verb="exercise.decide").first()
        assert "Every pair tested." not in entry.body
        assert isinstance(ledger.verify(centre=bench.centre), ledger.Intact)


class TestRulings:
    def rule(self, item, by, *, at, text="A missing second prove is never competent.", criterion=None):
        return exercises.rule(item=item, text=text, criterion=criterion, by=by, at=at)

    def test_it_is_linked_to_a_criterion_of_the_task(self, bench, verifier, closed):
        item = closed.items.first()
        criterion = item.attempt.version.criteria.first()
        assert self.rule(item, verifier, at=bench.at + LATER, criterion=criterion).criterion == criterion

    def test_not_before_it_is_closed_and_by_a_verifier(self, bench, verifier, exercise, others):
        with pytest.raises(Refused, match="Close the exercise first"):
            self.rule(exercise.items.first(), verifier, at=bench.at + LATER)
        with pytest.raises(Refused, match="in post today"):
            self.rule(exercise.items.first(), others[0], at=bench.at + LATER)

    def test_who_was_away_reads_and_confirms_and_again_after_another_ruling(
        self, bench, verifier, closed, others
    ):
        away, at = others[1], bench.at + LATER
        assert not exercises.to_read(others[0]).exists()
        assert exercises.to_read(away).get().exercise == closed
        exercises.confirm_read(exercise=closed, assessor=away, at=at)
        assert not exercises.to_read(away).exists()
        self.rule(closed.items.first(), verifier, at=at + timedelta(minutes=1))
        assert exercises.to_read(away).exists()

    def test_an_assessor_who_was_not_asked_reads_it_too(self, bench, verifier, exercise):
        late = person_with(Role.Kind.ASSESSOR, by=bench.manager)
        exercises.close(exercise=exercise, by=verifier, at=bench.at + LATER)
        assert exercises.to_read(late).exists()
        assert any("You were away" in each.text for each in notices_for(person=late, at=bench.at + LATER))

    def test_who_took_part_confirms_nothing(self, bench, closed, others):
        with pytest.raises(Refused, match="who was away"):
            exercises.confirm_read(exercise=closed, assessor=others[0], at=bench.at + LATER)


class TestThePages:
    @pytest.fixture(autouse=True)
    def afterwards(self, bench, monkeypatch):
        monkeypatch.setattr(timezone, "now", lambda: bench.at + LATER)

    def test_from_asking_to_the_ruling(self, client, bench, verifier, signed, others):
        client.force_login(verifier)
        asked = {
            "title": "Spring",
            "due_on": "2031-01-01",
            "assessors": [bench.assessor.pk, others[0].pk],
            "sign_offs": [each.pk for each in signed],
        }
        client.post(reverse("exercise-create"), asked)
        exercise = Exercise.objects.get()
        for person in (bench.assessor, others[0]):
            client.force_login(person)
            address = reverse("exercise-item", args=[exercise.items.first().pk])
            for _ in signed:
                answer = {"decision": "competent", "reason": "All there."}
                address = client.post(address, answer)["Location"]
            assert address == reverse("exercise-detail", args=[exercise.pk])
        client.force_login(verifier)
        assert "2 of 2 assessors" in client.get(reverse("exercise-close", args=[exercise.pk])).text
        page = client.post(reverse("exercise-close", args=[exercise.pk]), follow=True).text
        assert "κ says nothing" in page
        ruling = reverse("exercise-rule", args=[exercise.items.first().pk])
        page = client.post(ruling, {"text": "As it was."}, follow=True).text
        assert "As it was." in page
        client.force_login(others[1])
        page = client.post(reverse("exercise-read", args=[exercise.pk]), follow=True).text
        assert "Noted: you have read it." in page

    def test_a_decision_is_made_blind(self, client, bench, exercise, signed, others):
        at = bench.at + LATER
        item = exercise.items.get(attempt=signed[1].attempt_id)
        decide(item, bench.assessor, NOT_YET, at=at, reason="Second prove missing, seen by me.")
        client.force_login(others[0])
        page = client.get(reverse("exercise-item", args=[item.pk])).text
        shown = client.get(reverse("exercise-detail", args=[exercise.pk])).text
        for text in (page, shown):
            for hidden in (signed[1].feedback, signed[1].attempt.candidate.name, "seen by me"):
                assert hidden not in text
        assert "You decided on this attempt yourself" not in page

    def test_one_of_ones_own_says_so(self, client, bench, exercise):
        client.force_login(bench.assessor)
        page = client.get(reverse("exercise-item", args=[exercise.items.first().pk])).text
        assert "You decided on this attempt yourself" in page

    def test_an_assessor_who_is_not_in_it_does_not_find_it(self, client, bench, exercise):
        client.force_login(person_with(Role.Kind.ASSESSOR, by=bench.manager))
        assert client.get(reverse("exercise-detail", args=[exercise.pk])).status_code == 404
        item = exercise.items.first()
        assert client.get(reverse("exercise-item", args=[item.pk])).status_code == 404

    def test_another_centres_is_not_there(self, client, exercise):
        other = made.ready_bench(tag="VB-77")
        client.force_login(person_with(Role.Kind.VERIFIER, by=other.manager))
        assert client.get(reverse("exercise-detail", args=[exercise.pk])).status_code == 404

    def test_attempts_in_conflict_with_the_verifier_are_not_offered(self, client, bench, verifier, signed):
        ConflictOfInterest.objects.create(
            person=verifier,
            candidate=signed[0].attempt.candidate,
            kind="relative",
            starts_on=bench.at.date(),
            declared_by=verifier,
            declared_at=bench.at,
        )
        client.force_login(verifier)
        page = client.get(reverse("exercise-create")).text
        assert str(signed[0].pk) not in page
        assert str(signed[2].pk) in page

    def test_more_attempts_and_rulings_cost_no_more_queries(self, client, bench, verifier, others, signed):
        client.force_login(verifier)

        def counted(sign_offs):
            exercise = opened(bench, verifier, sign_offs, others)
            for person in others:
                decide_all(exercise, person, at=bench.at + LATER)
            exercises.close(exercise=exercise, by=verifier, at=bench.at + LATER)
            for item in exercise.items.all():
                exercises.rule(item=item, text="So.", criterion=None, by=verifier, at=bench.at + LATER)
            with CaptureQueriesContext(connection) as queries:
                client.get(reverse("exercise-detail", args=[exercise.pk]))
            return len(queries)

        client.get(reverse("exercise-list"))
        few = counted(signed[:2])
        more = [made.signed_off(bench, candidate=made.another_candidate(bench)) for _ in range(2)]
        assert counted([*signed, *more]) == few
