"""Frozen inputs of attempts at finding a fault on an invented venturi rig, without a database."""

from collections.abc import Sequence
from typing import Any

from assessments.marking.inputs import (
    AttemptInputs,
    BenchInput,
    FaultInput,
    MeasurandInput,
    MeasurementInput,
    PlaceInput,
    StepInput,
)
from rigs.metrology.quantities import unit_quantity
from tests.factories import marking as made

TEST_POINTS = (
    PlaceInput(slug="taps", label="Δp at the venturi taps", quantity="pressure"),
    PlaceInput(slug="ports", label="Δp at the switch ports", quantity="pressure"),
    PlaceInput(slug="high-tap", label="High tap against the room", quantity="pressure"),
    PlaceInput(slug="make-point", label="Make point", quantity="pressure"),
    PlaceInput(slug="contacts", label="Switch contacts, COM to NO", quantity="resistance"),
    PlaceInput(slug="leads-together", label="Leads, tips together", quantity="resistance"),
)
CONDITIONS = (
    PlaceInput(slug="fan-off", label="Fan off, isolated"),
    PlaceInput(slug="fan-running", label="Fan running"),
    PlaceInput(slug="hand-pump", label="Hand pump on the high port"),
)
BENCH = BenchInput(terminals=2, test_points=TEST_POINTS, conditions=CONDITIONS)
FAULTS = (
    ("contact-open", "Contact does not make"),
    ("contact-welded", "Contact stuck closed"),
    ("stuck-at-rest", "Switch mechanism stuck at rest"),
    ("h-tube-off", "High-side tube off"),
    ("l-tube-off", "Low-side tube off"),
    ("tubes-crossed", "Tubes crossed"),
    ("outlet-partly-blocked", "Outlet partly blocked"),
    ("fan-slow", "Fan slow"),
)
LABELS = dict(FAULTS)
ELSEWHERE = frozenset({"h-tube-off", "l-tube-off", "tubes-crossed", "outlet-partly-blocked", "fan-slow"})
STEPS = (
    made.step(
        "measure",
        1,
        "measurements",
        title="Measure what you need",
        parameters={"instruments": {"pressure": "manometer", "resistance": "multimeter"}},
    ),
    made.step(
        "diagnosis",
        2,
        "diagnosis",
        title="What is wrong?",
        choices=(("none", "Nothing is wrong"), *FAULTS),
    ),
    made.step(
        "conclusion",
        3,
        "conclusion",
        expected=("serviceable",),
        choices=(
            ("serviceable", "Nothing: it is serviceable"),
            ("faulty", "Replace the switch"),
            ("elsewhere", "Put it right elsewhere"),
        ),
    ),
)


def level(key: str, value: float, u: float = 0.9, repeat_sd: float = 1.9) -> MeasurandInput:
    return MeasurandInput(
        key=key,
        label=key,
        value=value,
        other_u=u,
        other_dof=None,
        repeat_sd=repeat_sd,
        repeat_dof=9,
        repeat_share=0.1,
    )


RIG = (
    level("taps/fan-running", 158.0),
    level("ports/fan-running", 158.0),
    level("high-tap/fan-running", 66.4, u=0.5, repeat_sd=0.8),
    level("make-point/hand-pump", 93.0, u=0.4, repeat_sd=0.7),
    level("break-point/hand-pump", 71.0, u=0.4, repeat_sd=0.7),
)
"""VB-01 of the trade's worked examples: 1.58 mbar, H share 0.42, makes at 0.93 and breaks at 0.71."""


def measurement(key: str, text: str, *, sequence: int, unit: str = "") -> MeasurementInput:
    """A reading at “test point/condition”, in the quantity's usual unit unless another is given."""
    at, condition = key.split("/")
    quantity = next(each.quantity for each in TEST_POINTS if each.slug == at)
    unit = unit or ("mbar" if quantity == "pressure" else "Ω")
    reading = made.reading("measure", text, sequence=sequence, unit=unit)
    assert text in ("tone", "no tone") or unit_quantity(unit) == quantity
    return MeasurementInput(
        test_point=at, condition=condition, reading=reading._replace(id=f"reading-{sequence}")
    )


def attempt(
    *readings: tuple[str, str],
    fault: str = "",
    stated: str = "none",
    concluded: str = "",
    steps: Sequence[StepInput] = STEPS,
    **given: Any,
) -> AttemptInputs:
    """An attempt with these readings, (test, text) in order, under a fault or none, and what it stated."""
    right = "elsewhere" if stated in ELSEWHERE else "faulty"
    concluded = concluded or ("serviceable" if stated == "none" else right)
    of_set = "elsewhere" if fault in ELSEWHERE else "faulty"
    return made.attempt(
        *steps,
        bench=given.pop("bench", BENCH),
        measurands=given.pop("measurands", RIG),
        fault=FaultInput(slug=fault, label=LABELS.get(fault, fault), conclusion=of_set) if fault else None,
        measurements=tuple(
            measurement(key, text, sequence=number) for number, (key, text) in enumerate(readings, start=1)
        ),
        records=(
            *((made.record("diagnosis", 90, stated),) if stated else ()),
            made.record("conclusion", 91, concluded),
        ),
        **given,
    )


HEALTHY = (
    ("leads-together/fan-off", "0.2"),
    ("contacts/fan-off", "OL"),
    ("taps/fan-running", "1.58"),
    ("ports/fan-running", "1.57"),
    ("contacts/fan-running", "0.4"),
)
H_TUBE_OFF = (
    ("leads-together/fan-off", "0.2"),
    ("contacts/fan-off", "OL"),
    ("taps/fan-running", "1.58"),
    ("ports/fan-running", "0.92"),
    ("contacts/fan-running", "OL"),
)
