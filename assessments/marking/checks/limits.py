"""conforms: to stated limits, guarded by the expanded uncertainty; of a reading, or of what it comes to."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from assessments.marking import parameters, wording
from assessments.marking.checks.calculations import PLAIN, filled
from assessments.marking.numbers import Calculation, LimitsNumbers
from assessments.marking.parameters import Limits, Work
from assessments.marking.results import Judgement
from assessments.marking.rows import Row, instrument_u, judge_cases
from rigs.metrology.conformity import VERDICTS, Conformance, Verdict, can_decide, conforms
from rigs.metrology.quantities import from_si, si_factor, to_si
from rigs.metrology.relations import K_IN
from rigs.metrology.samples import SampleError
from rigs.metrology.uncertainty import reported


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What is held against which limits, all in SI, or with a calculation in its unit.

    ``middle_expanded`` is U halfway between the limits, NaN with one limit.
    """

    limits: Limits
    lower: float
    upper: float
    value: float
    u: float
    middle_expanded: float
    calculation: Calculation | None


def judge_conforms(rows: Sequence[Row]) -> list[Judgement]:
    return judge_cases(rows, case_of=_case, judge=_judge)


def _case(row: Row) -> Case | str:
    limits = parameters.limits(row.step)
    return _of_reading(row, limits) if limits.work is None else _of_result(row, limits, limits.work)


def _of_reading(row: Row, limits: Limits) -> Case:
    lower, upper = (_limit_in_si(each, limits.unit) for each in (limits.lower, limits.upper))
    return Case(
        limits=limits,
        lower=lower,
        upper=upper,
        value=row.si,
        u=float(instrument_u([row])[0]),
        middle_expanded=_middle_expanded(row, (lower + upper) / 2),
        calculation=None,
    )


def _limit_in_si(limit: float, unit: str) -> float:
    return limit if math.isinf(limit) else to_si(limit, unit=unit)


def _middle_expanded(row: Row, middle: float) -> float:
    """U of the instrument in hand at another value: a reading far off says nothing about its suitability.

    Where the display doesn't reach as far, U at the reading stands in for it.
    """
    instrument = row.instrument
    if instrument is None or not math.isfinite(middle):
        return math.nan
    spec = instrument.range_for(quantity=row.reading.quantity, si_value=middle)
    if spec is None:
        return K_IN * float(instrument_u([row])[0])
    return K_IN * spec.standard_uncertainty(reading_si=middle)


def _of_result(row: Row, limits: Limits, work: Work) -> Case | str:
    found = filled(row, work)
    if isinstance(found, str):
        return found
    try:
        value = found.calculator.compute(found.figures)
        budget = found.calculator.budget(found.figures, u=found.u)
    except SampleError as error:
        return wording.not_worked_out(str(error))
    return Case(
        limits=limits,
        lower=limits.lower,
        upper=limits.upper,
        value=value,
        u=budget.combined,
        middle_expanded=K_IN * budget.combined,
        calculation=found.numbers(shares={each.name: each.u for each in budget.components}),
    )


def _judge(rows: Sequence[Row], cases: Sequence[Case]) -> list[Judgement]:
    lower, upper = np.array([case.lower for case in cases]), np.array([case.upper for case in cases])
    u = np.array([case.u for case in cases])
    found = conforms(
        reading=[case.value for case in cases], lower_limit=lower, upper_limit=upper, u=u, expanded=K_IN * u
    )
    middle = np.nan_to_num([case.middle_expanded for case in cases], nan=0.0)
    decidable = can_decide(lower_limit=lower, upper_limit=upper, expanded=middle)
    return [
        _mark(row, case, found, index, can_judge=bool(decidable[index]))
        for index, (row, case) in enumerate(zip(rows, cases, strict=True))
    ]


def _mark(row: Row, case: Case, found: Conformance, index: int, *, can_judge: bool) -> Judgement:
    verdict = VERDICTS[found.code[index]] if can_judge else Verdict.CANNOT_JUDGE
    numbers = _numbers(row, case, probability=float(found.probability[index]))
    if not can_judge:
        return row.mark(verdict, _too_coarse(row, case), wording.TOO_COARSE, numbers)
    lower, upper = (_in_shown_unit(row, case, each) for each in (case.lower, case.upper))
    expanded = _width_in_shown_unit(row, case, numbers.expanded)
    sentence = wording.conformance(
        verdict,
        value=reported(value=case.value, expanded=expanded).value if case.calculation else row.shown_value,
        lower=lower,
        upper=upper,
        expanded=expanded,
        unit=_shown_unit(row, case),
        source=f"{case.limits.source}, {case.limits.dated}",
    )
    return row.mark(verdict, sentence, wording.conformance_in_words(verdict), numbers)


def _numbers(row: Row, case: Case, *, probability: float) -> LimitsNumbers:
    return LimitsNumbers(
        value=case.value,
        lower=_finite(case.lower),
        upper=_finite(case.upper),
        u=case.u,
        factor=K_IN,
        expanded=K_IN * case.u,
        middle_expanded=_finite(case.middle_expanded),
        probability=probability,
        source=case.limits.source,
        dated=case.limits.dated,
        instrument=None if case.calculation else row.instrument_numbers(u=case.u),
        calculation=case.calculation,
    )


def _finite(figure: float) -> float | None:
    return figure if math.isfinite(figure) else None


def _too_coarse(row: Row, case: Case) -> str:
    half_range = _width_in_shown_unit(row, case, (case.upper - case.lower) / 2)
    expanded = _width_in_shown_unit(row, case, case.middle_expanded)
    return wording.too_coarse(expanded=expanded, half_range=half_range, unit=_shown_unit(row, case))


def _shown_unit(row: Row, case: Case) -> str:
    return (case.calculation.unit or PLAIN) if case.calculation else row.reading.unit


def _in_shown_unit(row: Row, case: Case, value: float) -> float:
    return value if case.calculation or math.isinf(value) else from_si(value, unit=row.reading.unit)


def _width_in_shown_unit(row: Row, case: Case, width: float) -> float:
    return width if case.calculation else width / si_factor(row.reading.unit)
