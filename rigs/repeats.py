"""A run of reference readings: one of each measurand, after the connection was made again."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, TypeVar

from academy.refusals import Refused
from rigs.instruments import kind_for, refusal, spec_of
from rigs.metrology.instruments import NoRange
from rigs.metrology.quantities import Qualifier, Quantity
from rigs.metrology.readings import TypedReading
from rigs.models import BaselineReading, CheckReading, Instrument, Measurand
from rigs.models.designs import ContactState, MeasurandKind
from rigs.models.instruments import InstrumentKind
from rigs.references import worth

Row = TypeVar("Row", BaselineReading, CheckReading)
HIGH_RESISTANCE = "high-resistance"


def kinds_needed(measurands: Iterable[Measurand]) -> tuple[InstrumentKind, ...]:
    """The kinds of instrument that a run needs, in a steady order. Needs ``test_point``."""
    return tuple(sorted({kind_for(each) for each in measurands}))


def require_references(
    *, measurands: Iterable[Measurand], instruments: Mapping[str, Instrument], at: datetime
) -> None:
    """Refuse, beside the kind's field, what can't be used to say what a rig reads."""
    for kind in kinds_needed(measurands):
        instrument = instruments.get(kind)
        if instrument is None:
            raise Refused(f"Choose the {kind.label.lower()} that was used.", field=kind)
        on = instrument.centre.date_at(at)
        why = refusal(instrument=instrument, kind=kind, on=on, in_candidates_hands=False)
        if why is not None:
            raise Refused(why, field=kind)
        if not instrument.is_reference:
            raise Refused(f"{instrument.tag} isn't a reference instrument.", field=kind)


def rows(
    row: type[Row],
    *,
    measurands: Sequence[Measurand],
    readings: Mapping[Measurand, TypedReading],
    instruments: Mapping[str, Instrument],
    repeat: int,
    at: datetime,
    **parent: Any,
) -> list[Row]:
    """Unsaved rows for one run. Refused, beside its field, for a reading that is missing or can't be used."""
    for measurand in measurands:
        field = field_name(measurand, repeat=repeat)
        if measurand not in readings:
            raise Refused(f"{measurand}: every run has one reading of each.", field=field)
        why = unfit(measurand, readings[measurand], instruments=instruments)
        if why is not None:
            raise Refused(why, field=field)
    return [
        row(
            measurand=measurand,
            instrument=instruments[kind_for(measurand)],
            repeat=repeat,
            text=readings[measurand].text,
            unit=readings[measurand].unit or measurand.test_point.unit,
            qualifier=readings[measurand].qualifier,
            si_value=readings[measurand].si_value,
            si_resolution=readings[measurand].si_resolution,
            taken_at=at,
            **_worth(measurand, readings[measurand], instruments=instruments, at=at),
            **parent,
        )
        for measurand in measurands
    ]


def _worth(
    measurand: Measurand, reading: TypedReading, *, instruments: Mapping[str, Instrument], at: datetime
) -> dict[str, Any]:
    """What the instrument makes of a level, as its certificate stands on the day; nothing of a state."""
    if measurand.kind == MeasurandKind.STATE:
        return {}
    assert reading.si_value is not None  # seen to by unfit
    instrument = instruments[kind_for(measurand)]
    found = worth(
        instrument=instrument,
        quantity=Quantity(measurand.test_point.quantity),
        value_si=reading.si_value,
        on=instrument.centre.date_at(at),
    )
    return {"correction": found.correction, "instrument_u": found.u, "calibration": found.calibration}


def unfit(
    measurand: Measurand, reading: TypedReading, *, instruments: Mapping[str, Instrument]
) -> str | None:
    """Why a reading can't characterise a measurand, in words for who typed it; None if it can."""
    is_state = measurand.kind == MeasurandKind.STATE
    if is_state and reading.qualifier in {Qualifier.VALUE, Qualifier.OVER_LIMIT}:
        return None
    if is_state:
        return "Type ohms with the leads nulled, or OL for open."
    if reading.si_value is None:
        return "A number is needed here."
    instrument = instruments[kind_for(measurand)]
    try:
        spec_of(instrument.model).range_for(quantity=reading.quantity, value_si=reading.si_value)
    except NoRange:
        return f"{instrument.tag} has no range that reaches this."
    return None


def field_name(measurand: Measurand, *, repeat: int) -> str:
    return f"run_{repeat}_measurand_{measurand.pk}"


def state_of(readings: Iterable[BaselineReading | CheckReading]) -> str:
    """The state that all readings of one contact agree on, leads nulled; empty where they don't agree."""
    states = {_state(reading) for reading in readings}
    return states.pop() if len(states) == 1 else ""


def state_words(state: str) -> str:
    """A state of contacts as it is written; an empty one is that of readings that don't agree."""
    return state.replace("-", " ") if state else "not the same each time"


def _state(reading: BaselineReading | CheckReading) -> str:
    if reading.si_value is None or reading.si_value >= reading.measurand.open_limit:
        return ContactState.OPEN
    return ContactState.CLOSED if reading.si_value <= reading.measurand.closed_limit else HIGH_RESISTANCE
