from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from academy.models import LedgerEntry
from academy.refusals import Refused
from rigs import holds
from rigs.models import Hold, Instrument, Rig
from tests.factories.academy import AT

pytestmark = pytest.mark.django_db


@pytest.fixture(params=["rig", "manometer"])
def thing(request, bench):
    return getattr(bench, request.param)


def place(bench, thing, reason="The guard is loose."):
    return holds.place(on=thing, reason=reason, by=bench.technician, at=AT)


def test_it_is_out_of_use_until_somebody_releases_it_with_evidence(bench, thing):
    hold = place(bench, thing, reason="  The guard is loose. ")
    assert hold.reason == "The guard is loose."
    assert type(thing).objects.with_state().get(pk=thing.pk).held
    released = holds.release(hold=hold, evidence="Guard tightened.", by=bench.assessor, at=AT)
    assert (released.released_by, released.released_at) == (bench.assessor, AT)
    assert not type(thing).objects.with_state().get(pk=thing.pk).held
    entries = LedgerEntry.objects.filter(subject=str(hold.pk)).values_list("verb", flat=True)
    assert list(entries) == ["hold.place", "hold.release"]


@pytest.mark.parametrize("reason", ["", "   "])
def test_a_reason_is_needed(bench, thing, reason):
    with pytest.raises(Refused, match="Say why") as refusal:
        place(bench, thing, reason=reason)
    assert refusal.value.field == "reason"


def test_it_is_held_once_at_a_time(bench, thing):
    place(bench, thing)
    with pytest.raises(Refused, match=f"{thing.tag} is on hold already"):
        place(bench, thing)
    assert Hold.objects.count() == 1


def test_it_is_not_given_back_without_evidence(bench, thing):
    hold = place(bench, thing)
    with pytest.raises(Refused, match="what shows that it is right again") as refusal:
        holds.release(hold=hold, evidence=" ", by=bench.assessor, at=AT)
    assert refusal.value.field == "evidence"
    assert list(Hold.objects.open()) == [hold]


def test_it_is_released_once(bench, thing):
    hold = place(bench, thing)
    holds.release(hold=hold, evidence="Mended.", by=bench.assessor, at=AT)
    said = f"{bench.assessor.name} released this hold already, on 06 January 2025 at 09:00, with: Mended."
    with pytest.raises(Refused, match=said):
        holds.release(hold=hold, evidence="Mended again.", by=bench.technician, at=AT + timedelta(hours=1))
    kept = Hold.objects.get()
    assert (kept.released_by, kept.released_at, kept.release_evidence) == (bench.assessor, AT, "Mended.")


def test_it_can_be_held_again_later(bench, thing):
    holds.release(hold=place(bench, thing), evidence="Mended.", by=bench.assessor, at=AT)
    place(bench, thing)
    assert Hold.objects.open().count() == 1


def test_the_database_holds_one_thing_at_a_time(bench):
    given = {"reason": "?", "placed_by": bench.technician, "placed_at": AT}
    for wrong in ({"rig": bench.rig, "instrument": bench.manometer}, {}):
        with pytest.raises(IntegrityError, match="a_hold_is_on_one_thing"), transaction.atomic():
            Hold.objects.create(**given, **wrong)


def test_only_ones_own_centre_sees_it(bench, manager):
    place(bench, bench.rig)
    place(bench, bench.manometer)
    assert Hold.objects.visible_to(bench.assessor).count() == 2
    assert Hold.objects.visible_to(manager).count() == 0
    assert not Rig.objects.visible_to(manager).exists()
    assert not Instrument.objects.visible_to(manager).exists()
