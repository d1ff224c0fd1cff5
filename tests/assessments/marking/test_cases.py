"""Readings that are alike are one case; whatever a verdict may depend on makes another."""

from dataclasses import replace

import pytest

from assessments.marking.cases import Cases
from assessments.marking.inputs import FaultInput
from assessments.marking.mark import mark, mark_many
from assessments.marking.readings import mark_readings
from assessments.marking.results import ReadingMark, canonical_result
from rigs.metrology.conformity import Verdict
from tests.factories.marking import (
    CLOSED,
    MANOMETER,
    MULTIMETER,
    RUNNING,
    attempt,
    reading,
    reading_step,
)

TAPS = reading_step("taps", 1, "agrees", measurand=RUNNING.key)
LEADS = reading_step("leads", 2, "leads", expected=("closed",))
CONTACTS = reading_step("contacts", 3, "contact", measurand=CLOSED.key, parameters={"leads": "leads"})
STEPS = TAPS, LEADS, CONTACTS
FAULT = FaultInput(slug="h-tube-off", label="Tube off", conclusion="elsewhere")


def worked(name="a", *, taps="1.58", leads="0.2", contacts="0.4", sequence=1, **given):
    typed = (
        reading("taps", taps, sequence=sequence),
        reading("leads", leads, unit="Ω", sequence=sequence + 1),
        reading("contacts", contacts, unit="Ω", sequence=sequence + 2),
    )
    return attempt(*STEPS, readings=tuple(each._replace(id=f"{name}-{each.step}") for each in typed), **given)


def cases_of(*attempts):
    cases = Cases()
    return [list(cases.numbered(each).values()) for each in attempts]


def test_readings_that_are_alike_are_one_case_whoever_logged_them_and_when():
    one, other = cases_of(worked("a"), worked("b", sequence=7, attempt="a-2", rig="VB-02"))

    assert one == other == [0, 1, 2]


@pytest.mark.parametrize(
    ("changed", "others"),
    [
        ({"taps": "1.59"}, [True, False, False]),
        ({"contacts": "0.5"}, [False, False, True]),
        ({"leads": "0.3"}, [False, True, True]),
        ({"measurands": (replace(RUNNING, value=150.0), CLOSED)}, [True, False, False]),
        ({"measurands": (RUNNING, replace(CLOSED, closed_limit=0.5))}, [False, False, True]),
        ({"instruments": (replace(MANOMETER, tag="MN-09"), MULTIMETER)}, [True, False, False]),
        ({"instruments": (MANOMETER, replace(MULTIMETER, certificate="K-9"))}, [False, True, True]),
        ({"floor_percent": 2.0}, [True, True, True]),
        ({"baseline": 2}, [True, True, True]),
        ({"fault": FAULT}, [True, True, True]),
    ],
)
def test_what_a_verdict_may_depend_on_makes_another_case(changed, others):
    one, other = cases_of(worked(), worked(**changed))

    assert [first != second for first, second in zip(one, other, strict=True)] == others


def test_a_step_of_another_version_is_another_case():
    other = worked()
    steps = (replace(TAPS, title="Taps again"), LEADS, CONTACTS)
    one, other = cases_of(worked(), replace(other, version=replace(other.version, steps=steps)))

    assert not set(one) & set(other)


def test_a_check_sees_only_the_readings_that_its_step_names():
    cases = Cases()
    cases.numbered(worked())
    taps, leads, contacts = cases.rows

    assert contacts.on("leads") is leads
    assert contacts.on("contacts") is contacts
    assert contacts.on("taps") is taps.on("leads") is None
    assert {(row.reading.id, row.reading.sequence) for row in cases.rows} == {("", 0)}


def test_a_reading_may_be_compared_with_one_that_stands_later_in_the_task():
    first = reading_step("first", 1, "falls", parameters={"of": "second", "percent": 80})
    second = reading_step("second", 2, "zero")
    marks = mark(attempt(first, second, readings=(reading("first", "0.02"), reading("second", "1.57")))).marks

    assert [each.step for each in marks] == ["first", "second"]
    assert marks[0].verdict is Verdict.IN_RANGE


def test_steps_that_name_each_other_find_nothing_to_compare_on_one_side():
    one = reading_step("one", 1, "falls", parameters={"of": "other", "percent": 80})
    other = reading_step("other", 2, "falls", parameters={"of": "one", "percent": 80})
    marks = mark(attempt(one, other, readings=(reading("one", "0.02"), reading("other", "1.57")))).marks

    assert Verdict.CANNOT_JUDGE in {each.verdict for each in marks}


def test_many_at_once_come_out_as_each_by_itself():
    attempts = [
        worked(f"{number}", taps=f"1.{50 + number % 9}", contacts=f"0.{number % 4}", leads=f"0.{number % 3}")
        for number in range(40)
    ]

    for inputs, marking in zip(attempts, mark_many(attempts), strict=True):
        assert canonical_result(marking) == canonical_result(mark(inputs))
        assert [each.reading for each in marking.marks] == [each.id for each in inputs.readings]


def test_marks_are_a_sequence_of_marks():
    (marks,) = mark_readings([worked()])

    assert len(marks) == 3
    assert all(isinstance(each, ReadingMark) for each in marks)
    assert [each.step for each in marks[1:]] == ["leads", "contacts"]
    assert marks[-1].reading == "a-contacts"
    assert marks == mark_readings([worked()])[0]
    assert marks != mark_readings([worked("b")])[0]
    assert repr(marks) == repr(tuple(marks))
    assert hash(marks) == hash(mark_readings([worked()])[0])
