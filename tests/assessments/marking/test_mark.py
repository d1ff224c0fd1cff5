"""Whole attempts: three strands that don't make up for each other, and a proposal."""

import json

import pytest

from assessments.marking.inputs import FaultInput, canonical, differences, digest
from assessments.marking.mark import chance_outside, mark
from assessments.marking.results import ProposedDecision, StrandVerdict, canonical_result, from_document
from rigs.metrology.conformity import Verdict
from tests.factories.marking import attempt, reading, reading_step, record, step

ISOLATE = step("isolate", 1, safety_critical=True)
TAPS = reading_step("taps", 2, "agrees", measurand="taps/fan-running")
CONCLUSION = step(
    "conclusion",
    3,
    "conclusion",
    expected=("serviceable",),
    choices=(("serviceable", "Serviceable"), ("faulty", "Faulty"), ("elsewhere", "Elsewhere")),
)


def worked(*, taps="1.58", answer="serviceable", isolated=1, fault=None):
    records = [record("conclusion", 9, answer=answer)] if answer else []
    if isolated:
        records.append(record("isolate", isolated))
    readings = (reading("taps", taps, sequence=2),) if taps else ()
    return attempt(ISOLATE, TAPS, CONCLUSION, records=tuple(records), readings=readings, fault=fault)


@pytest.mark.parametrize(
    ("work", "procedure", "readings", "conclusion", "proposal"),
    [
        ({}, "met", "met", "met", "competent"),
        ({"isolated": None}, "not-met", "met", "met", "not-yet-competent"),
        ({"isolated": 5}, "not-met", "met", "met", "not-yet-competent"),
        ({"taps": "1.30"}, "met", "not-met", "met", "not-yet-competent"),
        ({"taps": None}, "met", "to-decide", "met", "assessor"),
        ({"taps": "OL"}, "met", "to-decide", "met", "assessor"),
        ({"answer": "faulty"}, "met", "met", "not-met", "not-yet-competent"),
        ({"answer": None}, "met", "met", "not-met", "not-yet-competent"),
    ],
)
def test_no_strand_makes_up_for_another(work, procedure, readings, conclusion, proposal):
    marking = mark(worked(**work))

    assert (marking.procedure.verdict, marking.readings.verdict, marking.conclusion.verdict) == (
        procedure,
        readings,
        conclusion,
    )
    assert marking.proposal == proposal


def test_the_right_conclusion_is_the_one_for_the_fault_that_was_set():
    fault = FaultInput(slug="h-tube-off", label="High-side tube off", conclusion="elsewhere")

    assert mark(worked(answer="elsewhere", fault=fault)).conclusion.verdict is StrandVerdict.MET
    assert mark(worked(answer="serviceable", fault=fault)).conclusion.verdict is StrandVerdict.NOT_MET


def test_one_borderline_and_nothing_else_is_told_apart():
    borderline = next(
        marking
        for hundredths in range(158, 180)
        if (marking := mark(worked(taps=f"{hundredths / 100:.2f}"))).marks[0].verdict is Verdict.BORDERLINE
    )

    assert borderline.proposal is ProposedDecision.ASSESSOR
    assert borderline.lone_borderline
    assert not mark(worked(taps="OL")).lone_borderline


def test_marking_twice_is_equal_to_the_last_byte():
    assert canonical_result(mark(worked())) == canonical_result(mark(worked()))


def test_a_marking_comes_back_from_its_document_as_it_was():
    marking = mark(worked(taps="1.30", isolated=5))

    assert from_document(json.loads(canonical_result(marking))) == marking


def test_the_digest_covers_every_input():
    assert digest(canonical(worked())) != digest(canonical(worked(taps="1.59")))
    assert digest(canonical(worked())) == digest(canonical(worked()))


def test_differences_name_the_path_and_both_values():
    before, after = json.loads(canonical(worked())), json.loads(canonical(worked(taps="1.59")))

    lines = differences(before, after)

    assert "/readings/0/text: was '1.58', is '1.59'" in lines
    assert differences(before, before) == []


@pytest.mark.parametrize(("checks", "chance"), [(0, 0.0), (1, 0.0455), (12, 0.428)])
def test_the_chance_that_something_falls_outside_when_all_is_well(checks, chance):
    # 1 − 0.9545ⁿ: k = 2 covers 95.45 % of a normal distribution (JCGM 100, table G.1).
    assert chance_outside(checks) == pytest.approx(chance, abs=5e-4)
