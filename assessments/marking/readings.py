"""The readings strand: each reading against what it should be, by the check its step names.

Readings of any number of attempts go through the same columns; the metrology decides, this module only
lays out the columns and puts the answers into words.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from assessments.marking import wording
from assessments.marking.inputs import AttemptInputs, MeasurandInput, ReadingInput, StepInput
from assessments.marking.results import Numbers, ReadingMark
from rigs.metrology.conformity import (
    CONTACT_STATES,
    VERDICTS,
    Agreement,
    ContactState,
    Verdict,
    agrees,
    contact_state,
    is_in_state,
)
from rigs.metrology.instruments import RangeSpec, spec_uncertainty
from rigs.metrology.quantities import Qualifier, column_from_si, from_si
from rigs.metrology.relations import falls_by_at_least
from rigs.metrology.uncertainty import coverage_factor

FREE_OF_FAULT = frozenset({"leads", "zero", "tone"})
ORDINARY_CLOSED_LIMIT, ORDINARY_OPEN_LIMIT = 1.0, 1e6  # Ω (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One reading with what its step and attempt say of it. ``range`` is the display range it was read on."""

    inputs: AttemptInputs
    step: StepInput
    reading: ReadingInput
    range: RangeSpec | None
    measurand: MeasurandInput | None

    @property
    def si(self) -> float:
        return math.nan if self.reading.si_value is None else self.reading.si_value

    @property
    def shown_value(self) -> Decimal:
        """The value in the unit that was typed, to the display's last digit at least."""
        return Decimal(f"{from_si(self.si, unit=self.reading.unit):.{self.decimals}f}")

    @property
    def decimals(self) -> int:
        """Decimals that the display can show in the unit that was typed."""
        return self.range.decimals_in(self.reading.unit) if self.range and self.reading.unit else 0

    def mark(
        self, verdict: Verdict, sentence: str, words: str = "", numbers: Numbers | None = None
    ) -> ReadingMark:
        return ReadingMark(
            step=self.step.slug,
            title=self.step.title,
            reading=self.reading.id,
            shown=self.reading.text,
            unit=self.reading.unit,
            decimals=self.decimals,
            judged_by=self.step.judged_by,
            verdict=verdict,
            sentence=sentence,
            words=words or sentence,
            numbers=numbers,
        )


def mark_readings(attempts: Sequence[AttemptInputs]) -> list[tuple[ReadingMark, ...]]:
    """Every attempt's marks, each attempt's in the order of its steps."""
    rows = [row for inputs in attempts for row in rows_of(inputs)]
    marks: dict[str, ReadingMark] = {}
    for judged_by, judge in JUDGES.items():
        mine = [row for row in rows if row.step.judged_by == judged_by]
        judgeable = [row for row in mine if (why := not_judgeable(row)) is None or _refuse(marks, row, why)]
        marks |= {row.reading.id: mark for row, mark in zip(judgeable, judge(judgeable), strict=True)}
    return [tuple(marks[row.reading.id] for row in rows_of(inputs)) for inputs in attempts]


def _refuse(marks: dict[str, ReadingMark], row: Row, why: str) -> bool:
    marks[row.reading.id] = row.mark(Verdict.CANNOT_JUDGE, why)
    return False


def rows_of(inputs: AttemptInputs) -> list[Row]:
    readings = {reading.step: reading for reading in inputs.readings}
    return [_row(inputs, step, readings[step.slug]) for step in inputs.steps if step.slug in readings]


def _row(inputs: AttemptInputs, step: StepInput, reading: ReadingInput) -> Row:
    instrument = inputs.instrument(reading.instrument)
    found = None
    if instrument is not None and reading.si_value is not None:
        found = instrument.range_for(quantity=reading.quantity, si_value=reading.si_value)
    return Row(
        inputs=inputs,
        step=step,
        reading=reading,
        range=found,
        measurand=inputs.measurand(step.measurand) if step.measurand else None,
    )


def not_judgeable(row: Row) -> str | None:
    """Why a reading can't be judged at all, before any arithmetic; None when it can."""
    qualifier = Qualifier(row.reading.qualifier)
    if qualifier in wording.NO_READING:
        return wording.NO_READING[qualifier]
    if row.inputs.fault is not None and row.step.judged_by not in FREE_OF_FAULT:
        return wording.FAULT_SET
    if qualifier is Qualifier.VALUE and row.range is None:
        return wording.BEYOND_DISPLAY
    if row.step.judged_by in ("agrees", "zero", "falls") and qualifier is not Qualifier.VALUE:
        return wording.NUMBER_DUE
    if row.step.judged_by == "agrees" and (row.measurand is None or row.measurand.value is None):
        return wording.NO_BASELINE
    return None


def instrument_u(rows: Iterable[Row]) -> NDArray[np.float64]:
    """Standard uncertainty of each instrument at its reading, in SI; NaN where there is no number."""
    columns = [(row.si, *_spec(row.range)) for row in rows]
    if not columns:
        return np.empty(0)
    reading, percent_reading, percent_full_scale, full_scale, counts, resolution = np.array(columns).T
    return spec_uncertainty(
        reading=reading,
        percent_reading=percent_reading,
        percent_full_scale=percent_full_scale,
        full_scale=full_scale,
        counts=counts,
        resolution=resolution,
    )


def _spec(spec: RangeSpec | None) -> tuple[float, float, float, float, float]:
    if spec is None:
        return (math.nan,) * 5
    return (
        spec.percent_reading,
        spec.percent_full_scale,
        spec.full_scale_si,
        spec.counts,
        spec.resolution_si,
    )


def judge_agrees(rows: Sequence[Row]) -> list[ReadingMark]:
    known = [row.measurand for row in rows if row.measurand is not None]
    value = np.array([each.value for each in known], dtype=float)
    dof = np.array([math.inf if each.other_dof is None else each.other_dof for each in known])
    floor = np.array([row.inputs.floor_percent for row in rows]) / 100 * np.abs(value)
    inst = instrument_u(rows)
    found = agrees(
        reading=np.array([row.si for row in rows]),
        value=value,
        repeat_sd=np.array([each.repeat_sd for each in known], dtype=float),
        repeat_dof=np.array([each.repeat_dof for each in known], dtype=float),
        repeat_share=np.array([each.repeat_share for each in known], dtype=float),
        value_u=np.array([each.other_u for each in known], dtype=float),
        value_dof=dof,
        instrument_u=inst,
        floor=floor,
    )
    return [_agreement_mark(row, found, index, float(inst[index])) for index, row in enumerate(rows)]


def _agreement_mark(row: Row, found: Agreement, index: int, inst: float) -> ReadingMark:
    verdict = VERDICTS[found.code[index]]
    measurand = row.measurand
    assert measurand is not None and measurand.value is not None  # judged before this
    dof = float(found.dof[index])
    numbers = Numbers(
        reading=row.si,
        value=measurand.value,
        lower=float(found.lower[index]),
        upper=float(found.upper[index]),
        u=float(found.u[index]),
        dof=None if math.isinf(dof) else dof,
        zeta=float(found.zeta[index]),
        t_in=float(found.t_in[index]),
        t_out=float(found.t_out[index]),
        repeat_sd=measurand.repeat_sd or 0.0,
        value_u=math.hypot(
            measurand.other_u or 0.0, (measurand.repeat_sd or 0.0) * math.sqrt(measurand.repeat_share or 0.0)
        ),
        instrument_u=inst,
    )
    lower, upper = column_from_si([numbers.lower, numbers.upper], unit=row.reading.unit)
    sentence = wording.agreement(
        verdict, value=row.shown_value, lower=float(lower), upper=float(upper), unit=row.reading.unit
    )
    words = wording.agreement_in_words(verdict, zeta=numbers.zeta, t_in=numbers.t_in)
    return row.mark(verdict, sentence, words, numbers)


def judge_contact(rows: Sequence[Row]) -> list[ReadingMark]:
    leads = [_leads(row) for row in rows]
    return _judge_states(
        rows,
        leads=np.array([_lead_resistance(each) for each in leads]),
        leads_u=instrument_u(each or replace(row, range=None) for each, row in zip(leads, rows, strict=True)),
        expected=[row.measurand.expected_state if row.measurand else "" for row in rows],
    )


def judge_leads(rows: Sequence[Row]) -> list[ReadingMark]:
    nothing = np.zeros(len(rows))
    return _judge_states(
        rows, leads=nothing, leads_u=nothing, expected=[row.step.expected[0] for row in rows]
    )


def _leads(row: Row) -> Row | None:
    """The leads' own reading in the same attempt, named by the step."""
    reading = row.inputs.reading_at(str(row.step.parameters.get("leads", "")))
    return None if reading is None else _row(row.inputs, row.inputs.step(reading.step), reading)


def _lead_resistance(leads: Row | None) -> float:
    """In Ω; NaN for leads that weren't measured, infinite for leads that don't conduct."""
    if leads is not None and Qualifier(leads.reading.qualifier) is Qualifier.OVER_LIMIT:
        return math.inf
    return math.nan if leads is None else leads.si


def _judge_states(
    rows: Sequence[Row], *, leads: NDArray[np.float64], leads_u: NDArray[np.float64], expected: Sequence[str]
) -> list[ReadingMark]:
    over = np.array([Qualifier(row.reading.qualifier) is Qualifier.OVER_LIMIT for row in rows], dtype=bool)
    found = contact_state(
        resistance=np.array([row.si for row in rows]),
        over_limit=over,
        lead_resistance=leads,
        instrument_u=np.nan_to_num(instrument_u(rows), nan=0.0),
        lead_u=np.nan_to_num(leads_u, nan=0.0),
        closed_limit=np.array([_limits(row)[0] for row in rows]),
        open_limit=np.array([_limits(row)[1] for row in rows]),
        coverage=coverage_factor(dof=math.inf),
    )
    return [
        _state_mark(row, CONTACT_STATES[code], wanted, net=float(net))
        for row, code, wanted, net in zip(rows, found.code, expected, found.resistance, strict=True)
    ]


def _limits(row: Row) -> tuple[float, float]:
    """Closed and open limit in Ω; leads by themselves have the ordinary ones."""
    if row.measurand is None:
        return ORDINARY_CLOSED_LIMIT, ORDINARY_OPEN_LIMIT
    return row.measurand.closed_limit, row.measurand.open_limit


def _state_mark(row: Row, state: ContactState, wanted: str, *, net: float) -> ReadingMark:
    qualifier = Qualifier(row.reading.qualifier)
    if qualifier in wording.SEEN_STATES:
        # A tone or a lamp says less than a number does: never that a contact is good.
        return row.mark(*wording.seen_state(qualifier, wanted=wanted))
    verdict = VERDICTS[int(is_in_state(code=CONTACT_STATES.index(state), expected=ContactState(wanted)))]
    if row.step.judged_by == "leads":
        return row.mark(verdict, wording.leads(state, wanted=wanted))
    return row.mark(verdict, wording.contact(state, wanted=wanted, net=net, limit=_limits(row)[0]))


def judge_zero(rows: Sequence[Row]) -> list[ReadingMark]:
    return [_zero_mark(row) for row in rows]


def _zero_mark(row: Row) -> ReadingMark:
    assert row.range is not None  # judged before this
    digits = float(row.step.parameters.get("digits", 1))
    # A hair of slack: 0.01 mbar is not exactly one digit of 0.01 mbar in floating point.
    good = abs(row.si) <= digits * row.range.resolution_si * (1 + 1e-9)
    verdict = Verdict.IN_RANGE if good else Verdict.OUT_OF_RANGE
    return row.mark(verdict, wording.zero(good=good, digits=digits))


def judge_tone(rows: Sequence[Row]) -> list[ReadingMark]:
    return [_tone_mark(row) for row in rows]


def _tone_mark(row: Row) -> ReadingMark:
    qualifier = Qualifier(row.reading.qualifier)
    if qualifier not in (Qualifier.TONE, Qualifier.NO_TONE):
        return row.mark(Verdict.CANNOT_JUDGE, wording.TONE_DUE)
    good = str(qualifier) in row.step.expected
    return row.mark(Verdict.IN_RANGE if good else Verdict.OUT_OF_RANGE, wording.tone(qualifier, good=good))


def judge_falls(rows: Sequence[Row]) -> list[ReadingMark]:
    return [_falls_mark(row) for row in rows]


def _falls_mark(row: Row) -> ReadingMark:
    before = row.inputs.reading_at(str(row.step.parameters["of"]))
    percent = float(row.step.parameters["percent"])
    if before is None or before.si_value is None:
        return row.mark(Verdict.CANNOT_JUDGE, wording.NOTHING_TO_COMPARE)
    earlier = _row(row.inputs, row.inputs.step(before.step), before)
    if earlier.range is None:
        return row.mark(Verdict.CANNOT_JUDGE, wording.BEYOND_DISPLAY)
    u_before, u_after = instrument_u([earlier, row])
    found = falls_by_at_least(
        before=earlier.si, after=row.si, percent=percent, before_u=u_before, after_u=u_after
    )
    verdict = VERDICTS[int(found.code)]
    return row.mark(verdict, wording.falls(verdict, percent=percent, of=earlier.step.title))


JUDGES: dict[str, Callable[[Sequence[Row]], list[ReadingMark]]] = {
    "agrees": judge_agrees,
    "contact": judge_contact,
    "leads": judge_leads,
    "zero": judge_zero,
    "tone": judge_tone,
    "falls": judge_falls,
}
