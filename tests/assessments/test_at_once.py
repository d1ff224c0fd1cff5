"""Requests that arrive at the same moment, as from an impatient thumb or two tabs: one after the other."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from uuid import uuid4

import pytest
from django.db import connection

from academy.refusals import Refused
from assessments import attempts, evidence, faults, outcomes, signoff
from assessments.models import Attempt, Outcome, Reading, SignOff, Step
from assessments.models.attempts import Purpose
from assessments.models.decisions import Decision
from rigs import checks
from rigs.models import Check, FaultSetting, Instrument
from tests.factories import assessments as made
from tests.factories import rigs
from tests.factories.assessments import SWITCH_TEST, Bench

pytestmark = pytest.mark.django_db(transaction=True)
HANDS = 4


@pytest.fixture
def bench() -> Bench:
    return made.ready_bench()


def at_once(verb: Callable[[], object]) -> list[object]:
    """Call a verb from several connections at the same moment. What is refused comes back as the refusal."""
    gate = Barrier(HANDS)

    def call(_number: int) -> object:
        gate.wait()
        try:
            return verb()
        except Refused as refusal:
            return refusal
        finally:
            connection.close()

    with ThreadPoolExecutor(HANDS) as hands:
        return list(hands.map(call, range(HANDS)))


def start(bench: Bench, number) -> Attempt:
    return attempts.start(
        id=number,
        candidate=bench.candidate,
        version=bench.tasks[SWITCH_TEST],
        rig=bench.rig,
        purpose=Purpose.ASSESSMENT,
        chosen=bench.instruments,
        cautions_read=True,
        at=bench.at,
    )


def test_one_start_sent_several_times_starts_one_attempt(bench):
    number = uuid4()
    found = at_once(lambda: start(bench, number))

    assert found == [Attempt.objects.get()] * HANDS


def test_several_starts_of_the_same_task_start_one_and_refuse_the_rest(bench):
    found = at_once(lambda: start(bench, uuid4()))

    refused = [each for each in found if isinstance(each, Refused)]
    assert Attempt.objects.count() == 1
    assert len(refused) == HANDS - 1
    assert all("carry on with that one" in each.message for each in refused)


def test_one_reading_sent_several_times_is_logged_once(bench):
    attempt, number = made.started(bench), uuid4()
    step = Step.objects.get(version=attempt.version, slug="leads-together")
    found = at_once(
        lambda: evidence.log_reading(
            attempt=attempt,
            step=step,
            typed=made.as_typed("0.2", step=step),
            sent=evidence.Sent(id=number),
            candidate=bench.candidate,
            at=bench.at,
        )
    )

    assert found == [Reading.objects.get()] * HANDS


def test_handing_in_several_times_marks_once(bench):
    attempt = made.started(bench)
    last = made.work_through(attempt)
    at_once(lambda: attempts.hand_in(attempt=attempt, candidate=bench.candidate, at=last))

    assert Outcome.objects.count() == 1


def test_several_decisions_are_one_and_the_rest_are_told(bench):
    attempt = made.handed_in(bench)
    found = at_once(
        lambda: signoff.sign_off(
            attempt=attempt,
            outcome=outcomes.latest(attempt),
            assessor=bench.assessor,
            decision=Decision.COMPETENT,
            feedback="Careful work.",
            confirmed_at=attempt.submitted_at,
            at=attempt.submitted_at,
        )
    )

    refused = [each for each in found if isinstance(each, Refused)]
    assert SignOff.objects.count() == 1
    assert len(refused) == HANDS - 1
    assert {each.message.partition(",")[0] for each in refused} == {
        f"{bench.assessor.name} signed this attempt off already"
    }


def test_one_check_sent_several_times_is_recorded_once(bench):
    number = uuid4()
    runs = [rigs.check_run(of=bench.rig, rng=rigs.noise("check")) for _ in range(3)]
    references = {
        str(each.model.kind): each
        for each in Instrument.objects.references().filter(centre=bench.centre).select_related("model")
    }
    at_once(
        lambda: checks.record(
            id=number, rig=bench.rig, runs=runs, instruments=references, by=bench.technician, at=bench.at
        )
    )

    assert Check.objects.count() == 2  # the session began with one


def test_a_fault_is_set_before_somebody_starts_or_not_at_all(bench):
    fault = bench.rig.design.faults.all()[0]

    def set_or_start() -> object:
        if hands.pop():
            return faults.set_fault(rig=bench.rig, fault=fault, by=bench.assessor, at=bench.at)
        return start(bench, uuid4())

    hands = [True, False] * (HANDS // 2)
    at_once(set_or_start)

    attempt, setting = Attempt.objects.first(), FaultSetting.objects.first()
    assert (attempt is None) or (attempt.fault == setting)
