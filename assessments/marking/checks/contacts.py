"""contact, leads, changes: what a resistance says of a contact, or of the leads by themselves."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from assessments.marking import parameters, wording
from assessments.marking.numbers import ChangeNumbers, ContactNumbers
from assessments.marking.results import Judgement
from assessments.marking.rows import Row, instrument_u, judge_cases
from rigs.metrology.conformity import (
    CONTACT_STATES,
    VERDICTS,
    Contact,
    ContactState,
    Verdict,
    contact_state,
    is_in_state,
)
from rigs.metrology.quantities import Qualifier
from rigs.metrology.relations import K_IN, changes_state

ORDINARY_CLOSED_LIMIT, ORDINARY_OPEN_LIMIT = 1.0, 1e6  # Ω (common practice, no source)
SEEN = {Qualifier.OPEN: ContactState.OPEN, Qualifier.CLOSED: ContactState.CLOSED}
TONES = frozenset({Qualifier.TONE, Qualifier.NO_TONE})


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a contact was found to be. ``net`` is without the leads, NaN for none."""

    state: ContactState
    net: float
    limit: float
    numbers: ContactNumbers


def judge_contact(rows: Sequence[Row]) -> list[Judgement]:
    expected = [row.measurand.expected_state if row.measurand else "" for row in rows]
    return _marks(rows, states_of(rows), expected)


def judge_leads(rows: Sequence[Row]) -> list[Judgement]:
    return _marks(rows, _by_themselves(rows), [row.step.expected[0] for row in rows])


def judge_changes(rows: Sequence[Row]) -> list[Judgement]:
    return judge_cases(rows, case_of=_earlier_contact, judge=_judge_change)


def states_of(rows: Sequence[Row]) -> list[Found]:
    """The state of each contact, with the leads taken off that its step names."""
    leads = [_leads_of(row) for row in rows]
    return _states(
        rows,
        leads=np.array([_lead_resistance(each) for each in leads]),
        leads_u=instrument_u(each or replace(row, range=None) for each, row in zip(leads, rows, strict=True)),
        are_leads=False,
    )


def _by_themselves(rows: Sequence[Row]) -> list[Found]:
    nothing = np.zeros(len(rows))
    return _states(rows, leads=nothing, leads_u=nothing, are_leads=True)


def _leads_of(row: Row) -> Row | None:
    """The leads' own reading in the same attempt, named by the step."""
    slug = parameters.leads(row.step)
    return row.on(slug) if slug else None


def _lead_resistance(leads: Row | None) -> float:
    """In Ω; NaN for leads that weren't measured, infinite for leads that don't conduct."""
    if leads is not None and Qualifier(leads.reading.qualifier) is Qualifier.OVER_LIMIT:
        return math.inf
    return math.nan if leads is None else leads.si


def _states(
    rows: Sequence[Row], *, leads: NDArray[np.float64], leads_u: NDArray[np.float64], are_leads: bool
) -> list[Found]:
    over = np.array([Qualifier(row.reading.qualifier) is Qualifier.OVER_LIMIT for row in rows], dtype=bool)
    u = np.nan_to_num(instrument_u(rows), nan=0.0)
    leads_u = np.nan_to_num(leads_u, nan=0.0)
    limits = [_limits(row) for row in rows]
    found = contact_state(
        resistance=np.array([row.si for row in rows]),
        over_limit=over,
        lead_resistance=leads,
        instrument_u=u,
        lead_u=leads_u,
        closed_limit=np.array([closed for closed, _ in limits]),
        open_limit=np.array([open_ for _, open_ in limits]),
        coverage=K_IN,
    )
    known_leads = np.full(len(rows), math.nan) if are_leads else leads
    return [
        _found(row, found, index, leads=known_leads[index], u=u[index], leads_u=leads_u[index])
        for index, row in enumerate(rows)
    ]


def _found(row: Row, found: Contact, index: int, *, leads: float, u: float, leads_u: float) -> Found:
    state = SEEN.get(Qualifier(row.reading.qualifier), CONTACT_STATES[found.code[index]])
    net = float(found.resistance[index])
    closed_limit, open_limit = _limits(row)
    numbers = ContactNumbers(
        state=str(state),
        resistance=_known(row.si),
        leads=_known(leads),
        net=_known(net),
        u=float(u),
        leads_u=float(leads_u),
        factor=K_IN,
        expanded=float(found.expanded[index]),
        closed_limit=closed_limit,
        open_limit=open_limit,
        instrument=row.instrument_numbers(u=float(u)),
    )
    return Found(state=state, net=net, limit=closed_limit, numbers=numbers)


def _known(figure: float) -> float | None:
    return float(figure) if math.isfinite(figure) else None


def _limits(row: Row) -> tuple[float, float]:
    """Closed and open limit in Ω; leads by themselves have the ordinary ones."""
    if row.measurand is None:
        return ORDINARY_CLOSED_LIMIT, ORDINARY_OPEN_LIMIT
    return row.measurand.closed_limit, row.measurand.open_limit


def _marks(rows: Sequence[Row], found: Sequence[Found], expected: Sequence[str]) -> list[Judgement]:
    return [_mark(row, each, wanted) for row, each, wanted in zip(rows, found, expected, strict=True)]


def _mark(row: Row, found: Found, wanted: str) -> Judgement:
    qualifier = Qualifier(row.reading.qualifier)
    if qualifier in wording.SEEN_STATES:
        # A tone or a lamp says less than a number does: never that a contact is good.
        return row.mark(*wording.seen_state(qualifier, wanted=wanted))
    code = is_in_state(code=CONTACT_STATES.index(found.state), expected=ContactState(wanted))
    verdict = VERDICTS[int(code)]
    numbers = None if verdict is Verdict.CANNOT_JUDGE else found.numbers
    if row.step.judged_by == "leads":
        return row.mark(verdict, wording.leads(found.state, wanted=wanted), numbers=numbers)
    sentence = wording.contact(found.state, wanted=wanted, net=found.net, limit=found.limit)
    return row.mark(verdict, sentence, wording.contact_in_words(found.state, wanted=wanted), numbers)


def _earlier_contact(row: Row) -> Row | str:
    before = row.on(parameters.earlier(row.step))
    if before is None:
        return wording.NOTHING_TO_COMPARE
    if any(Qualifier(each.reading.qualifier) in TONES for each in (before, row)):
        return wording.TONE_TELLS_NO_STATE
    if Qualifier(before.reading.qualifier) in wording.NO_READING:
        return wording.no_number(before.step.title)
    if before.is_value and before.range is None:
        return wording.beyond_display(before.step.title)
    return before


def _judge_change(rows: Sequence[Row], before: Sequence[Row]) -> list[Judgement]:
    first, second = states_of(before), states_of(rows)
    codes = changes_state(
        before=[CONTACT_STATES.index(each.state) for each in first],
        after=[CONTACT_STATES.index(each.state) for each in second],
    )
    return [
        _change(row, old, VERDICTS[code], was=was, now=now)
        for row, old, code, was, now in zip(rows, before, codes, first, second, strict=True)
    ]


def _change(row: Row, before: Row, verdict: Verdict, *, was: Found, now: Found) -> Judgement:
    numbers = ChangeNumbers(
        title=before.step.title,
        shown=before.reading.text,
        unit=before.reading.unit,
        before=was.numbers,
        after=now.numbers,
    )
    return row.mark(
        verdict,
        wording.changes(verdict, was=was.state, now=now.state, of=before.step.title),
        numbers=None if verdict is Verdict.CANNOT_JUDGE else numbers,
    )
