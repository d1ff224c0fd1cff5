"""The working of 'contact', 'leads' and 'changes'."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from academy.strip import number
from assessments.marking.numbers import ChangeNumbers, ContactNumbers
from assessments.marking.results import ReadingMark
from assessments.strips import figures_and_unit
from assessments.working.lines import NARROW_SPACE, Scale, WorkingLine, as_typed, instrument_lines, line
from rigs.metrology.conformity import ContactState
from rigs.metrology.quantities import SI_UNIT, Quantity

OHM = SI_UNIT[Quantity.RESISTANCE]
WORDS = {
    ContactState.CLOSED: "closed",
    ContactState.OPEN: "open",
    ContactState.HIGH_RESISTANCE: "high resistance",
    ContactState.BORDERLINE: "too close to tell",
    ContactState.BELOW_LEADS: "less than the leads alone",
    ContactState.CANNOT_JUDGE: "can’t be judged",
}


def contact_lines(mark: ReadingMark, numbers: ContactNumbers) -> Iterable[WorkingLine]:
    yield as_typed(mark, symbol="R")
    yield from _state_lines(numbers)


def change_lines(mark: ReadingMark, numbers: ChangeNumbers) -> Iterable[WorkingLine]:
    shown = NARROW_SPACE.join(filter(None, figures_and_unit(numbers.shown, unit=numbers.unit)))
    yield line("Before: reading", "R", shown, f"your own “{numbers.title}”")
    yield from _prefixed("Before", _state_lines(numbers.before))
    yield as_typed(mark, label="Now: reading", symbol="R")
    yield from _prefixed("Now", _state_lines(numbers.after))
    states = (WORDS[ContactState(each.state)] for each in (numbers.before, numbers.after))
    yield line("Rule", "", " → ".join(states), "it changes from closed to open, or back")


def _prefixed(when: str, lines: Iterable[WorkingLine]) -> Iterable[WorkingLine]:
    return (replace(each, label=f"{when}: {each.label[0].lower()}{each.label[1:]}") for each in lines)


def _state_lines(numbers: ContactNumbers) -> Iterable[WorkingLine]:
    state = ContactState(numbers.state)
    if numbers.resistance is None or numbers.instrument is None:
        yield line("State", "", WORDS[state])
        return
    scale = Scale.to_second_digit(numbers.expanded, unit=OHM)
    if numbers.leads is not None:
        yield line("Leads", "R(l)", scale.level(numbers.leads, guard=1), "your own reading of them")
    if numbers.net is not None:
        yield line(
            "Without the leads", "R(c)", scale.level(numbers.net, guard=1), "R − R(l), never below zero"
        )
    yield from instrument_lines(numbers.instrument, scale)
    yield line("Uncertainty of the reading", "u(R)", scale.width(numbers.u), "√(a²/3 + r²/12)")
    if numbers.leads is not None:
        yield line(
            "Uncertainty of the leads", "u(l)", scale.width(numbers.leads_u), "the same at their reading"
        )
    yield line("Factor, 95.45 %", "k", number(numbers.factor, 2), "normal")
    yield line("Expanded uncertainty", "U", scale.width(numbers.expanded), "k·√(u(R)² + u(l)²)")
    yield line("Limit for closed", "T", scale.level(numbers.closed_limit), "of this contact")
    yield line("State", "", WORDS[state])
    if state in RULED:
        yield _rule(state, numbers, scale)


RULED = frozenset(
    {ContactState.CLOSED, ContactState.HIGH_RESISTANCE, ContactState.BORDERLINE, ContactState.OPEN}
)


def _rule(state: ContactState, numbers: ContactNumbers, scale: Scale) -> WorkingLine:
    resistance = numbers.resistance or 0.0
    if state is ContactState.OPEN:
        rule = scale.comparison(resistance, numbers.open_limit, signs="≥")
        return line("Rule", "R", rule, "open from this limit on")
    net, u, limit = _net(numbers, resistance), numbers.expanded, numbers.closed_limit
    cases: dict[ContactState, tuple[str, Sequence[float], str]] = {
        ContactState.CLOSED: ("R(c) + U", (net + u, limit), "≤"),
        ContactState.HIGH_RESISTANCE: ("R(c) − U", (net - u, limit), ">"),
        ContactState.BORDERLINE: ("R(c) ± U", (net - u, limit, net + u), "≤<"),
    }
    symbol, values, signs = cases[state]
    return line(
        "Rule", symbol, scale.comparison(*values, signs=signs), "closed with U to spare, or clearly not"
    )


def _net(numbers: ContactNumbers, resistance: float) -> float:
    """Unfloored, as it was judged."""
    return resistance - (numbers.leads or 0.0)
