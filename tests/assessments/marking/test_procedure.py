"""The order of the work: sequences tell it, clocks don't."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.marking.inputs import FaultInput
from assessments.marking.procedure import judge_procedure
from assessments.marking.results import FindingKind, StrandVerdict
from tests.factories.marking import attempt, reading, reading_step, record, step

ISOLATE = step("isolate", 1, safety_critical=True, why="It could come back.")
PHOTO = step("photo", 2, "photo")
WIRES = step("wires", 3, safety_critical=True)
DEAD = step(
    "dead",
    4,
    "observation",
    safety_critical=True,
    expected=("none",),
    choices=(("none", "No indication"), ("some", "Indication")),
)
CONTACTS = reading_step("contacts", 5, "contact", measurand="contacts/fan-off")
TASK = (ISOLATE, PHOTO, WIRES, DEAD, CONTACTS)
READ = (reading("contacts", "OL", sequence=5, unit="Ω"),)


def worked(*order: str) -> tuple:
    """Records of those steps, logged in that order."""
    return tuple(
        record(slug, number, answer="none" if slug == "dead" else "")
        for number, slug in enumerate(order, start=1)
    )


def judged(*records, readings=READ, fault=None):
    return judge_procedure(attempt(*TASK, records=records, readings=readings, fault=fault))


def test_every_step_in_order_meets_the_procedure():
    found = judged(*worked("isolate", "photo", "wires", "dead"))

    assert found.verdict is StrandVerdict.MET
    assert found.findings == ()


@pytest.mark.parametrize("left_out", ["isolate", "wires", "dead"])
def test_a_missing_safety_critical_step_is_named_and_breaks_the_procedure(left_out):
    found = judged(*worked(*(slug for slug in ("isolate", "photo", "wires", "dead") if slug != left_out)))

    assert found.verdict is StrandVerdict.NOT_MET
    assert [(each.step, each.kind, each.breach) for each in found.findings] == [
        (left_out, FindingKind.MISSING, True)
    ]


def test_the_finding_says_why_the_step_matters():
    found = judged(*worked("photo", "wires", "dead"))

    assert found.findings[0].sentence == "Not logged. It could come back."


def test_a_safety_critical_step_logged_after_later_work_is_out_of_order_and_names_that_work():
    found = judged(*worked("wires", "isolate", "photo", "dead"))

    assert found.verdict is StrandVerdict.NOT_MET
    assert [(each.step, each.kind) for each in found.findings] == [("isolate", FindingKind.OUT_OF_ORDER)]
    assert "“Wires”" in found.findings[0].sentence


def test_a_reading_taken_before_isolating_puts_the_isolation_out_of_order():
    early = (reading("contacts", "OL", sequence=0, unit="Ω"),)

    found = judged(*worked("isolate", "photo", "wires", "dead"), readings=early)

    assert {each.step for each in found.findings} == {"isolate", "wires", "dead"}
    assert all(each.breach for each in found.findings)


def test_a_missing_step_that_is_not_safety_critical_is_left_to_the_assessor():
    found = judged(*worked("isolate", "wires", "dead"))

    assert found.verdict is StrandVerdict.TO_DECIDE
    assert [(each.step, each.breach) for each in found.findings] == [("photo", False)]


def test_a_late_photo_breaks_nothing_by_itself():
    found = judged(*worked("isolate", "wires", "photo", "dead"))

    assert found.verdict is StrandVerdict.MET


def test_going_on_after_an_indication_is_a_breach():
    seen = (*worked("isolate", "photo", "wires"), record("dead", 4, answer="some"))

    found = judged(*seen)

    assert found.verdict is StrandVerdict.NOT_MET
    assert "“Indication”" in found.findings[0].sentence


def test_with_a_fault_set_an_unexpected_observation_is_for_the_assessor():
    seen = (*worked("isolate", "photo", "wires"), record("dead", 4, answer="some"))
    fault = FaultInput(slug="contact-open", label="Contact does not make", conclusion="faulty")

    assert judged(*seen, fault=fault).verdict is StrandVerdict.TO_DECIDE


def test_an_optional_step_may_be_left_out():
    task = (ISOLATE, step("tone", 2, "reading", judged_by="tone", required=False))

    assert judge_procedure(attempt(*task, records=worked("isolate"))).verdict is StrandVerdict.MET


@given(st.permutations(worked("isolate", "photo", "wires", "dead")))
def test_the_order_in_which_rows_are_stored_does_not_matter(records):
    assert judged(*records).verdict is StrandVerdict.MET


@given(st.permutations(["isolate", "wires", "dead"]))
def test_safety_critical_steps_are_met_in_one_order_only(order):
    found = judged(*worked(*order, "photo"))

    assert (found.verdict is StrandVerdict.MET) == (order == ["isolate", "wires", "dead"])
