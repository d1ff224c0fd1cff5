"""Readings laid out for judging: each with what its step and its attempt say of it, many as columns."""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from assessments.marking import wording
from assessments.marking.inputs import AttemptInputs, InstrumentInput, MeasurandInput, ReadingInput, StepInput
from assessments.marking.numbers import InstrumentNumbers, Numbers, Term
from assessments.marking.results import Judgement
from rigs.metrology.conformity import Verdict
from rigs.metrology.instruments import RangeSpec, spec_uncertainty
from rigs.metrology.quantities import Qualifier, from_si, si_factor

Case = TypeVar("Case")
NO_TERMS = (math.nan,) * 5


class Rig(NamedTuple):
    """What a rig's attempts have in common, besides its measurands, that a verdict may depend on."""

    baseline: int | None
    baseline_on: str
    floor_percent: float
    has_fault: bool

    @classmethod
    def of(cls, inputs: AttemptInputs) -> "Rig":
        return cls(inputs.baseline, inputs.baseline_on, inputs.floor_percent, inputs.fault is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A reading with everything that its verdict may depend on.

    ``range`` is the display range that it was read on; ``others`` are the readings of the same attempt that
    its step names, by their steps' slugs.
    """

    rig: Rig
    step: StepInput
    measurand: MeasurandInput | None
    instrument: InstrumentInput | None
    reading: ReadingInput
    range: RangeSpec | None
    others: Mapping[str, "Row"] = field(default_factory=dict)

    @property
    def si(self) -> float:
        return math.nan if self.reading.si_value is None else self.reading.si_value

    @property
    def is_value(self) -> bool:
        return Qualifier(self.reading.qualifier) is Qualifier.VALUE

    @property
    def shown_value(self) -> Decimal:
        """The value in the unit that was typed, to the display's last digit at least."""
        return self.shown_as(self.si)

    @property
    def decimals(self) -> int:
        """Decimals that the display can show in the unit that was typed."""
        return self.range.decimals_in(self.reading.unit) if self.range and self.reading.unit else 0

    def shown_as(self, si: float) -> Decimal:
        """A value as this reading's display would show it."""
        return Decimal(f"{from_si(si, unit=self.reading.unit):.{self.decimals}f}")

    def shown_width(self, si: float) -> Decimal:
        """A width or difference as this reading's display would show it."""
        return Decimal(f"{si / si_factor(self.reading.unit):.{self.decimals}f}")

    def on(self, slug: str) -> "Row | None":
        """The reading that stands on another step of the same attempt, if the step names it."""
        return self if slug == self.step.slug else self.others.get(slug)

    def mark(
        self, verdict: Verdict, sentence: str, words: str = "", numbers: Numbers | None = None
    ) -> Judgement:
        return Judgement(
            step=self.step.slug,
            title=self.step.title,
            shown=self.reading.text,
            unit=self.reading.unit,
            decimals=self.decimals,
            judged_by=self.step.judged_by,
            verdict=verdict,
            sentence=sentence,
            words=words or sentence,
            numbers=numbers,
        )

    def instrument_numbers(self, *, u: float) -> InstrumentNumbers | None:
        """What the instrument in hand makes of ``u``; None where the display shows no number."""
        instrument, spec = self.instrument, self.range
        if instrument is None or spec is None:
            return None
        percent_reading, percent_full_scale, full_scale, counts, resolution = spec.terms_si
        return InstrumentNumbers(
            tag=instrument.tag,
            certificate=instrument.certificate,
            unit=spec.unit,
            full_scale=spec.full_scale,
            resolution=spec.resolution,
            percent_reading=percent_reading,
            percent_full_scale=percent_full_scale,
            counts=counts,
            half_width=percent_reading * abs(self.si) / 100
            + percent_full_scale * full_scale / 100
            + counts * resolution,
            u=u,
        )

    def term(self, *, u: float) -> Term:
        return Term(
            title=self.step.title,
            shown=self.reading.text,
            unit=self.reading.unit,
            value=self.si,
            u=u,
            instrument=self.instrument_numbers(u=u),
        )


def row_of(inputs: AttemptInputs, step: StepInput, reading: ReadingInput) -> Row:
    """A reading by itself, without the others that its step may name."""
    return row(
        rig=Rig.of(inputs),
        step=step,
        measurand=inputs.measurand(step.measurand),
        instrument=inputs.instrument(reading.instrument),
        reading=reading,
    )


def row(*, instrument: InstrumentInput | None, reading: ReadingInput, **known: Any) -> Row:
    """With the range that it was read on."""
    found = None
    if instrument is not None and reading.si_value is not None:
        found = instrument.range_for(quantity=reading.quantity, si_value=reading.si_value)
    return Row(instrument=instrument, reading=reading, range=found, **known)


def value_on(row: Row, slug: str) -> Row | str:
    """Another step's reading, if it is a number; else why nothing can be compared with it."""
    found = row.on(slug)
    if found is None:
        return wording.NOTHING_TO_COMPARE
    return found if found.is_value else wording.no_number(found.step.title)


def displayed_on(row: Row, slug: str) -> Row | str:
    """As `value_on`, for a number that the instrument in hand can have shown."""
    found = value_on(row, slug)
    if isinstance(found, Row) and found.range is None:
        return wording.beyond_display(found.step.title)
    return found


def judge_cases(
    rows: Sequence[Row],
    *,
    case_of: Callable[[Row], Case | str],
    judge: Callable[[Sequence[Row], Sequence[Case]], list[Judgement]],
) -> list[Judgement]:
    """Judge rows by what else each needs. One for which that can't be had isn't judged, and says why."""
    cases = [case_of(row) for row in rows]
    ready = [(row, case) for row, case in zip(rows, cases, strict=True) if not isinstance(case, str)]
    marks = iter(judge([row for row, _ in ready], [case for _, case in ready]) if ready else ())
    return [
        row.mark(Verdict.CANNOT_JUDGE, case) if isinstance(case, str) else next(marks)
        for row, case in zip(rows, cases, strict=True)
    ]


def instrument_u(rows: Iterable[Row]) -> NDArray[np.float64]:
    """Standard uncertainty of each instrument at its reading, in SI; NaN where there is no number."""
    columns = [(row.si, *(row.range.terms_si if row.range else NO_TERMS)) for row in rows]
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
