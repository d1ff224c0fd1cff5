"""What waits at the bench, and whom it is told."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from academy.models import Role
from academy.notices import Urgency, notices_for
from rigs import baselines, faults, holds, register, sessions
from rigs.models import Calibration, Fault, Instrument, Rig
from tests.factories import rigs
from tests.factories.academy import AT, person_with

pytestmark = pytest.mark.django_db


def told(person, *, at=AT):
    return [notice.text for notice in notices_for(person=person, at=at)]


def test_a_bench_with_nothing_due_says_nothing(bench):
    bench.check()
    assert told(bench.assessor) == []
    assert told(bench.manager) == []


def test_a_hold_is_told_until_it_is_released(bench):
    hold = holds.place(on=bench.manometer, reason="Case is cracked.", by=bench.technician, at=AT)
    assert f"{bench.manometer.tag} is on hold: Case is cracked." in told(bench.technician)
    holds.release(hold=hold, evidence="New case.", by=bench.technician, at=AT)
    assert not any("on hold" in text for text in told(bench.technician))


def test_a_fault_left_set_overnight_is_urgent_for_those_who_set_faults_alone(bench):
    faults.set_fault(rig=bench.rig, fault=Fault.objects.first(), by=bench.assessor, at=AT)
    tomorrow = AT + timedelta(days=1)
    assert not any("still set" in text for text in told(bench.assessor))
    (notice,) = [each for each in notices_for(person=bench.assessor, at=tomorrow) if "still set" in each.text]
    assert notice.urgency is Urgency.NOW
    for kind in (Role.Kind.CANDIDATE, Role.Kind.TECHNICIAN):
        assert not any("fault" in text for text in told(person_with(kind, by=bench.manager), at=tomorrow))


def test_a_baseline_waits_for_anybody_but_who_made_it(bench):
    other = register.add_rig(
        design=bench.rig.design,
        tag="VB-09",
        place="",
        electrical_inspection_due=None,
        by=bench.technician,
        at=AT,
    )
    made = rigs.open_baseline(of=other, instruments=bench.references, by=bench.manager)
    baselines.hand_over(baseline=made, by=bench.manager, at=AT)
    assert "VB-09: baseline 1 waits for a second person" in told(bench.assessor)
    assert not any("second person" in text for text in told(bench.manager))


def test_a_rig_without_a_check_is_told_while_a_session_is_on(bench):
    assert not any("checked" in text for text in told(bench.assessor))
    sessions.ensure_open(centre=bench.rig.centre, by=bench.assessor, at=AT)
    assert "VB-01 isn’t checked this session: practice only until it is" in told(bench.assessor)
    bench.check()
    assert not any("checked" in text for text in told(bench.assessor))


def test_a_rig_far_off_its_baseline_is_urgent(bench):
    bench.check(running=rigs.RUNNING * 0.85)
    found = {notice.text: notice.urgency for notice in notices_for(person=bench.technician, at=AT)}
    assert found["VB-01 is proposed for a hold by its last check"] is Urgency.NOW


@pytest.mark.parametrize(
    ("days", "said"), [(-1, "overdue"), (0, "due soon"), (30, "due soon"), (31, None)], ids=str
)
def test_dates_are_told_thirty_days_ahead(bench, days, said):
    due = AT.date() + timedelta(days=days)
    Calibration.objects.filter(instrument=bench.manometer).update(due_on=due)
    Rig.objects.filter(pk=bench.rig.pk).update(electrical_inspection_due=due)
    found = [text for text in told(bench.technician) if "calibration" in text or "inspection" in text]
    expected = [f"{bench.manometer.tag}: calibration {said}", f"VB-01: electrical inspection {said}"]
    assert sorted(found) == (sorted(expected) if said else [])


def test_an_instrument_that_was_never_calibrated_is_told(bench):
    Calibration.objects.filter(instrument=bench.manometer).delete()
    assert f"{bench.manometer.tag} has no certificate" in told(bench.technician)


def test_more_rigs_and_instruments_cost_no_more_queries(bench):
    def counted():
        with CaptureQueriesContext(connection) as queries:
            notices_for(person=bench.technician, at=AT)
        return len(queries)

    before = counted()
    Rig.objects.bulk_create(
        Rig(centre=bench.rig.centre, design=bench.rig.design, tag=f"VB-{number}") for number in range(20, 50)
    )
    Instrument.objects.bulk_create(
        Instrument(centre=bench.rig.centre, model=bench.manometer.model, tag=f"MN-{number}")
        for number in range(20, 50)
    )
    assert counted() == before
