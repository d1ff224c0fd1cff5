"""falls, reverses, closes, repeats: between readings of one attempt, whatever the rig reads today."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from assessments.marking import parameters, wording
from assessments.marking.numbers import ClosureNumbers, FallNumbers, RepeatsNumbers, ReversalNumbers, Term
from assessments.marking.results import Judgement
from assessments.marking.rows import Row, displayed_on, instrument_u, judge_cases
from rigs.metrology.conformity import COVERAGE_OUT, VERDICTS, Verdict
from rigs.metrology.relations import (
    K_IN,
    K_OUT,
    closes,
    critical_range_factor,
    falls_by_at_least,
    repeats_within,
    reverses_sign,
)


def judge_falls(rows: Sequence[Row]) -> list[Judgement]:
    return judge_cases(rows, case_of=_earlier, judge=_judge_falls)


def judge_reverses(rows: Sequence[Row]) -> list[Judgement]:
    return judge_cases(rows, case_of=_earlier, judge=_judge_reverses)


def judge_closes(rows: Sequence[Row]) -> list[Judgement]:
    return judge_cases(rows, case_of=_pressures, judge=_judge_closes)


def judge_repeats(rows: Sequence[Row]) -> list[Judgement]:
    return judge_cases(rows, case_of=_repeats, judge=_judge_repeats)


def _earlier(row: Row) -> Row | str:
    return displayed_on(row, parameters.earlier(row.step))


def _terms(rows: Sequence[Row]) -> tuple[Term, ...]:
    return _with_u(zip(rows, instrument_u(rows), strict=True))


def _with_u(pairs: Iterable[tuple[Row, float]]) -> tuple[Term, ...]:
    return tuple(row.term(u=float(u)) for row, u in pairs)


def _judge_falls(rows: Sequence[Row], before: Sequence[Row]) -> list[Judgement]:
    percent = np.array([parameters.percent(row.step) for row in rows])
    before_u, after_u = instrument_u(before), instrument_u(rows)
    found = falls_by_at_least(
        before=[row.si for row in before],
        after=[row.si for row in rows],
        percent=percent,
        before_u=before_u,
        after_u=after_u,
    )
    expanded = K_IN * np.hypot((1 - percent / 100) * before_u, after_u)
    return [
        _fall(
            [(old, before_u[index]), (row, after_u[index])],
            VERDICTS[found.code[index]],
            margin=found.margin[index],
            expanded=expanded[index],
        )
        for index, (row, old) in enumerate(zip(rows, before, strict=True))
    ]


def _fall(
    between: Sequence[tuple[Row, float]], verdict: Verdict, *, margin: float, expanded: float
) -> Judgement:
    """``between`` are the earlier reading and this one, each with its uncertainty."""
    (before, _), (row, _) = between
    percent, of = parameters.percent(row.step), before.step.title
    if verdict is Verdict.CANNOT_JUDGE:
        return row.mark(verdict, wording.nothing_to_fall_from(of))
    numbers = FallNumbers(
        terms=_with_u(between),
        percent=percent,
        factor=K_IN,
        expanded=float(expanded),
        margin=float(margin),
    )
    return row.mark(
        verdict,
        wording.falls(verdict, percent=percent, of=of),
        wording.falls_in_words(verdict, of=of),
        numbers,
    )


def _judge_reverses(rows: Sequence[Row], before: Sequence[Row]) -> list[Judgement]:
    found = reverses_sign(
        first=[row.si for row in before],
        second=[row.si for row in rows],
        first_u=instrument_u(before),
        second_u=instrument_u(rows),
    )
    return [
        row.mark(
            VERDICTS[code],
            wording.reverses(
                VERDICTS[code],
                before=row.shown_as(old.si),
                after=row.shown_value,
                unit=row.reading.unit,
                of=old.step.title,
            ),
            wording.reverses_in_words(VERDICTS[code], of=old.step.title),
            ReversalNumbers(terms=_terms([old, row]), factor=K_IN),
        )
        for row, old, code in zip(rows, before, found.code, strict=True)
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressures:
    high: Row
    low: Row


def _pressures(row: Row) -> Pressures | str:
    high, low = (displayed_on(row, slug) for slug in parameters.closure(row.step))
    if isinstance(high, str):
        return high
    return low if isinstance(low, str) else Pressures(high=high, low=low)


def _judge_closes(rows: Sequence[Row], cases: Sequence[Pressures]) -> list[Judgement]:
    high, low = [case.high for case in cases], [case.low for case in cases]
    u = [instrument_u(each) for each in (high, low, rows)]
    found = closes(
        high=[row.si for row in high],
        low=[row.si for row in low],
        difference=[row.si for row in rows],
        high_u=u[0],
        low_u=u[1],
        difference_u=u[2],
    )
    combined = np.sqrt(u[0] ** 2 + u[1] ** 2 + u[2] ** 2)
    return [
        _closure(row, case, VERDICTS[found.code[index]], u=float(combined[index]))
        for index, (row, case) in enumerate(zip(rows, cases, strict=True))
    ]


def _closure(row: Row, case: Pressures, verdict: Verdict, *, u: float) -> Judgement:
    numbers = ClosureNumbers(
        terms=_terms([case.high, case.low, row]),
        computed=case.high.si - case.low.si,
        u=u,
        factor=K_IN,
        allowed=K_IN * u,
        far=K_OUT * u,
    )
    sentence = wording.closes(
        verdict,
        high=row.shown_as(case.high.si),
        low=row.shown_as(case.low.si),
        difference=row.shown_value,
        unit=row.reading.unit,
    )
    return row.mark(verdict, sentence, wording.closes_in_words(verdict), numbers)


def _repeats(row: Row) -> tuple[Row, ...] | str:
    """All the repeats, this reading the last of them."""
    if row.measurand is None or row.measurand.repeat_sd is None:
        return wording.NO_BASELINE
    found: list[Row] = []
    for slug in parameters.repeats(row.step):
        other = displayed_on(row, slug)
        if isinstance(other, str):
            return other
        found.append(other)
    return (*found, row)


def _judge_repeats(rows: Sequence[Row], cases: Sequence[tuple[Row, ...]]) -> list[Judgement]:
    """Those with as many repeats share a table."""
    places: dict[int, list[int]] = defaultdict(list)
    for place, case in enumerate(cases):
        places[len(case)].append(place)
    marks: dict[int, Judgement] = {}
    for mine in places.values():
        tables = [cases[place] for place in mine]
        found = repeats_within(
            readings=[[each.si for each in table] for table in tables],
            repeat_sd=[_repeat_sd(table) for table in tables],
            resolution=[_step(table) for table in tables],
        )
        codes = zip(mine, tables, found.code, strict=True)
        marks |= {place: _spread(rows[place], table, VERDICTS[code]) for place, table, code in codes}
    return [marks[place] for place in range(len(rows))]


def _repeat_sd(table: Sequence[Row]) -> float:
    measurand = table[-1].measurand
    assert measurand is not None and measurand.repeat_sd is not None  # seen to by _repeats
    return measurand.repeat_sd


def _step(table: Sequence[Row]) -> float:
    """The coarsest display's last digit."""
    return max(row.range.resolution_si for row in table if row.range is not None)


def _spread(row: Row, table: Sequence[Row], verdict: Verdict) -> Judgement:
    values = [each.si for each in table]
    repeat_sd, step, count = _repeat_sd(table), _step(table), len(table)
    factor, far_factor = critical_range_factor(n=count), critical_range_factor(n=count, p=COVERAGE_OUT)
    numbers = RepeatsNumbers(
        terms=_terms(table),
        repeat_sd=repeat_sd,
        step=step,
        spread=max(values) - min(values),
        factor=factor,
        far_factor=far_factor,
        allowed=max(factor * repeat_sd, step),
        far=max(far_factor * repeat_sd, step),
    )
    sentence = wording.repeats(
        verdict,
        spread=row.shown_width(numbers.spread),
        allowed=row.shown_width(numbers.allowed),
        unit=row.reading.unit,
        count=count,
    )
    return row.mark(verdict, sentence, wording.repeats_in_words(verdict), numbers)
