"""computed: the candidate's own working, from their own earlier figures, at their own rounding.

What follows from a wrong figure still follows, so one slip is counted once, where it was made.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

from assessments.marking import parameters, wording
from assessments.marking.checks.calculations import Filled, filled, in_typed_unit, last_digit, typed
from assessments.marking.numbers import ComputedNumbers
from assessments.marking.results import Judgement
from assessments.marking.rows import Row, judge_cases
from rigs.metrology.computed.thermometers import celsius_error
from rigs.metrology.conformity import TIE, Verdict
from rigs.metrology.quantities import from_si
from rigs.metrology.samples import SampleError
from rigs.metrology.slips import Answer, Explanation, Follows, Slip, explain
from rigs.metrology.uncertainty import rounded


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """An answer, explained.

    ``celsius_error`` is that of a thermometer's resistance; None for other answers, or off the scale.
    """

    filled: Filled
    answer: Answer
    found: Explanation
    allowance: float
    celsius_error: float | None

    @property
    def is_close_enough(self) -> bool:
        """By its error in °C: an allowance in Ω would be another one at each temperature."""
        return self.celsius_error is not None and abs(self.celsius_error) <= self.allowance * (1 + TIE)


def judge_computed(rows: Sequence[Row]) -> list[Judgement]:
    return judge_cases(rows, case_of=_case, judge=_judge)


def _case(row: Row) -> Case | str:
    work = parameters.work(row.step)
    found = filled(row, work)
    if isinstance(found, str):
        return found
    try:
        answer = Answer.typed(typed(row), calculator=found.calculator)
        explained = explain(
            found.calculator,
            inputs=found.figures,
            answer=answer,
            carried=found.carried,
            allowance=0.0 if work.is_in_celsius else work.allowance,
        )
    except SampleError as error:
        return wording.not_worked_out(str(error))
    return Case(
        filled=found,
        answer=answer,
        found=explained,
        allowance=work.allowance,
        celsius_error=_celsius_error(found, answer) if work.is_in_celsius else None,
    )


def _celsius_error(found: Filled, answer: Answer) -> float | None:
    with suppress(SampleError):
        return celsius_error(found.calculator, figures=found.figures, resistance=answer.value)
    return None


def _judge(rows: Sequence[Row], cases: Sequence[Case]) -> list[Judgement]:
    return [_mark(row, case) for row, case in zip(rows, cases, strict=True)]


def _mark(row: Row, case: Case) -> Judgement:
    found = case.found
    follows = isinstance(found, Follows) or case.is_close_enough
    said = wording.FOLLOWS if follows else found.sentence
    numbers = ComputedNumbers(
        calculation=case.filled.numbers(),
        answer=case.answer.value,
        resolution=case.answer.resolution,
        computed=found.computed,
        allowed=found.allowed,
        allowance=case.allowance,
        celsius_error=case.celsius_error,
        slip=str(found.kind) if isinstance(found, Slip) and not follows else "",
    )
    last = last_digit(row.reading)
    sentence = wording.computed(
        said,
        answer=rounded(value=from_si(row.si, unit=row.reading.unit), last=last),
        computed=rounded(value=in_typed_unit(row, case.filled.calculator, found.computed), last=last / 10),
        unit=row.reading.unit,
    )
    return row.mark(Verdict.IN_RANGE if follows else Verdict.OUT_OF_RANGE, sentence, said, numbers)
