"""Frozen inputs of small invented tasks, without a database."""

from typing import Any

from assessments.marking.inputs import (
    AttemptInputs,
    InstrumentInput,
    MeasurandInput,
    ReadingInput,
    RecordInput,
    StepInput,
    VersionInput,
)
from rigs.metrology.instruments import RangeSpec, Spec
from rigs.metrology.quantities import Qualifier, Quantity, unit_quantity
from rigs.metrology.readings import parse, parse_observation

MANOMETER = InstrumentInput(
    kind="manometer",
    tag="MN-02",
    certificate="K-1",
    spec=Spec(
        ranges=(
            RangeSpec(
                quantity=Quantity.PRESSURE,
                unit="mbar",
                full_scale=20,
                resolution=0.01,
                percent_reading=0.5,
                counts=1,
            ),
        )
    ),
)
MULTIMETER = InstrumentInput(
    kind="multimeter",
    tag="DM-02",
    certificate="K-2",
    spec=Spec(
        ranges=(
            RangeSpec(
                quantity=Quantity.RESISTANCE,
                unit="Ω",
                full_scale=400,
                resolution=0.1,
                percent_reading=0.9,
                counts=3,
            ),
            RangeSpec(
                quantity=Quantity.RESISTANCE,
                unit="kΩ",
                full_scale=40,
                resolution=0.01,
                percent_reading=0.5,
                counts=2,
            ),
            RangeSpec(
                quantity=Quantity.RESISTANCE,
                unit="MΩ",
                full_scale=40,
                resolution=0.01,
                percent_reading=1.5,
                counts=3,
            ),
        )
    ),
)
THERMOMETER = InstrumentInput(
    kind="thermometer",
    tag="TH-01",
    certificate="K-3",
    spec=Spec(
        ranges=(
            RangeSpec(quantity=Quantity.TEMPERATURE, unit="°C", full_scale=100, resolution=0.1, counts=3),
        )
    ),
)
READ_WITH = {Quantity.PRESSURE: "manometer", Quantity.TEMPERATURE: "thermometer"}
RUNNING = MeasurandInput(
    key="taps/fan-running",
    label="Δp at the venturi taps, fan running",
    value=158.0,
    other_u=0.9,
    other_dof=None,
    repeat_sd=1.9,
    repeat_dof=9,
    repeat_share=0.1,
)
CLOSED = MeasurandInput(key="contacts/fan-running", label="Contacts, fan running", expected_state="closed")
OPEN = MeasurandInput(key="contacts/fan-off", label="Contacts, fan off", expected_state="open")


def step(slug: str, order: int, kind: str = "action", **given: Any) -> StepInput:
    return StepInput(slug=slug, order=order, kind=kind, title=given.pop("title", slug.capitalize()), **given)


def reading_step(slug: str, order: int, judged_by: str, **given: Any) -> StepInput:
    return step(slug, order, "reading", judged_by=judged_by, **given)


def reading(step: str, text: str, *, sequence: int = 1, unit: str = "mbar") -> ReadingInput:
    """What was typed, as the site would have parsed it: a number, OL, or a tone."""
    quantity = unit_quantity(unit) if unit else Quantity.RESISTANCE
    if text in ("tone", "no tone", "open", "closed"):
        qualifier, value, resolution = parse_observation(text), None, None
    else:
        typed = parse(text, quantity=quantity, unit=unit)
        qualifier, value, resolution = typed.qualifier, typed.si_value, typed.si_resolution
    return ReadingInput(
        id=f"reading-{step}",
        step=step,
        sequence=sequence,
        text=text,
        unit=unit,
        quantity=str(quantity),
        qualifier=str(qualifier),
        si_value=value,
        si_resolution=resolution,
        instrument=READ_WITH.get(quantity, "multimeter"),
    )


def said(step: str, qualifier: Qualifier, *, sequence: int = 1, unit: str = "mbar") -> ReadingInput:
    """A reading without a number: unstable, couldn't be obtained."""
    return reading(step, "1", sequence=sequence, unit=unit)._replace(
        text=str(qualifier),
        qualifier=str(qualifier),
        si_value=None,
        si_resolution=None,
    )


def record(step: str, sequence: int, answer: str = "") -> RecordInput:
    return RecordInput(step=step, sequence=sequence, answer=answer)


def attempt(*steps: StepInput, **given: Any) -> AttemptInputs:
    fields: dict[str, Any] = {
        "attempt": "a-1",
        "version": VersionInput(task="invented", number=1, content_sha256="0" * 64, steps=steps),
        "rig": "VB-01",
        "baseline": 1,
        "floor_percent": 0.0,
        "fault": None,
        "measurands": (RUNNING, CLOSED, OPEN),
        "instruments": (MANOMETER, MULTIMETER, THERMOMETER),
        "readings": (),
        "records": (),
    }
    return AttemptInputs(**fields | given)
