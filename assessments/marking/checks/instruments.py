"""zero, tone: the instrument by itself."""

from collections.abc import Sequence

from assessments.marking import parameters, wording
from assessments.marking.numbers import ZeroNumbers
from assessments.marking.results import Judgement
from assessments.marking.rows import Row
from rigs.metrology.conformity import TIE, Verdict
from rigs.metrology.quantities import Qualifier


def judge_zero(rows: Sequence[Row]) -> list[Judgement]:
    return [_zero(row) for row in rows]


def _zero(row: Row) -> Judgement:
    assert row.range is not None  # judged before this
    digits, resolution = parameters.zero_digits(row.step), row.range.resolution_si
    # A hair of slack: 0.01 mbar is not exactly one digit of 0.01 mbar in floating point.
    good = abs(row.si) <= digits * resolution * (1 + TIE)
    verdict = Verdict.IN_RANGE if good else Verdict.OUT_OF_RANGE
    numbers = ZeroNumbers(value=row.si, digits=digits, resolution=resolution)
    sentence = wording.zero(good=good, digits=digits)
    return row.mark(verdict, sentence, wording.zero_in_words(good=good), numbers)


def judge_tone(rows: Sequence[Row]) -> list[Judgement]:
    return [_tone(row) for row in rows]


def _tone(row: Row) -> Judgement:
    qualifier = Qualifier(row.reading.qualifier)
    if qualifier not in (Qualifier.TONE, Qualifier.NO_TONE):
        return row.mark(Verdict.CANNOT_JUDGE, wording.TONE_DUE)
    good = str(qualifier) in row.step.expected
    return row.mark(Verdict.IN_RANGE if good else Verdict.OUT_OF_RANGE, wording.tone(qualifier, good=good))
