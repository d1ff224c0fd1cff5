"""What marking says of a reading: the metrology's words made into sentences, and what it has no words for."""

import math
from collections.abc import Mapping
from decimal import Decimal

from rigs.metrology import wording
from rigs.metrology.conformity import ContactState, Verdict
from rigs.metrology.quantities import SI_UNIT, Qualifier, Quantity
from rigs.metrology.relations import RelationKind
from rigs.metrology.uncertainty import reported

NARROW_SPACE = "\N{NARROW NO-BREAK SPACE}"
PLAIN = SI_UNIT[Quantity.DIMENSIONLESS]

NO_READING: Mapping[Qualifier, str] = {
    Qualifier.UNSTABLE: "The reading was unstable, so it can't be judged.",
    Qualifier.NOT_OBTAINED: "No reading could be obtained, so there is nothing to judge.",
    Qualifier.NOT_ATTEMPTED: "The reading was not attempted.",
}
FAULT_SET = "A fault was set on this rig: a reading isn't judged against the healthy rig."
BEYOND_DISPLAY = "The instrument in hand can't show this value, so it can't be judged."
NUMBER_DUE = "A number was due here, so it can't be judged."
NO_BASELINE = "This rig had no approved baseline, so there is nothing to compare with."
NOTHING_TO_COMPARE = "The earlier reading that this one is compared with is missing."
TOO_COARSE = "The limits are too close together for this instrument, so it can't be judged with it."
TONE_TELLS_NO_STATE = "A tone doesn't tell what state a contact is in, so a change can't be judged by it."
FOLLOWS = "It follows from your own figures."
TONE_DUE = "Whether there was a tone was due here, so it can't be judged."

SEEN_STATES = frozenset({Qualifier.TONE, Qualifier.NO_TONE, Qualifier.OPEN, Qualifier.CLOSED})


def agreement(verdict: Verdict, *, value: Decimal, lower: float, upper: float, unit: str) -> str:
    """With the range, in the unit that was typed."""
    text = wording.agreement_sentence(verdict=verdict, reading=value, lower=lower, upper=upper, unit=unit)
    return _sentence(text)


def agreement_in_words(verdict: Verdict, *, zeta: float, t_in: float) -> str:
    """For people kept from the range: how far off, in words too coarse to give it away."""
    distance = wording.distance_words(zeta, t_in)
    return _sentence(", ".join(filter(None, (wording.agreement_words(verdict), distance))))


def conformance(
    verdict: Verdict,
    *,
    value: Decimal,
    lower: float,
    upper: float,
    expanded: float,
    unit: str,
    source: str,
) -> str:
    """With the limits and where they are stated, in the unit that was typed or worked out."""
    text = wording.conformance_sentence(
        verdict=verdict, reading=value, lower=lower, upper=upper, expanded=expanded, unit=unit
    )
    return _sentence(f"{text} ({source})")


def conformance_in_words(verdict: Verdict) -> str:
    return _sentence(wording.conformance_words(verdict))


def too_coarse(*, expanded: float, half_range: float, unit: str) -> str:
    """Before any reading: U against half the range between the limits, to the digits of U."""
    allowance = reported(value=half_range, expanded=expanded)
    return (
        f"{TOO_COARSE} It can only tell to {_figure(allowance.expanded, unit)}; "
        f"half of the range is {_figure(Decimal(f'{half_range:.3g}'), unit)}."
    )


def not_worked_out(why: str) -> str:
    return f"It can't be worked out from your own figures. {why}"


def no_number(title: str) -> str:
    """Of an earlier reading."""
    return f"Your own “{title}” is no number, so nothing can be compared with it."


def beyond_display(title: str) -> str:
    """Of an earlier reading."""
    return f"The instrument in hand can't show what you logged for “{title}”, so this can't be judged."


def contact(state: ContactState, *, wanted: str, net: float, limit: float) -> str:
    """Of a contact, ``net`` in Ω with the leads taken off (NaN for none)."""
    if (
        state != wanted
        and not math.isnan(net)
        and state in (ContactState.HIGH_RESISTANCE, ContactState.BORDERLINE)
    ):
        found = wording.contact_sentence(state=state, resistance=net, limit=limit, last=Decimal("0.1"))
        return _sentence(f"{found}; it should be {wanted}")
    return contact_in_words(state, wanted=wanted)


def contact_in_words(state: ContactState, *, wanted: str) -> str:
    found = wording.contact_words(state)
    return _sentence(f"{found}, as it should be" if state == wanted else f"{found}; it should be {wanted}")


def changes(verdict: Verdict, *, was: ContactState, now: ContactState, of: str) -> str:
    """A contact's state on an earlier step and now. There is no number in it."""
    words = wording.relation_words(RelationKind.CHANGES_STATE, verdict=verdict)
    return _sentence(f"{words}: {_STATES[was]} on your own “{of}”, {_STATES[now]} here")


def seen_state(qualifier: Qualifier, *, wanted: str) -> tuple[Verdict, str]:
    """What was heard or seen of a contact, where ohms would say more."""
    if qualifier in (Qualifier.OPEN, Qualifier.CLOSED):
        good = str(qualifier) == wanted
        verdict = Verdict.IN_RANGE if good else Verdict.OUT_OF_RANGE
        return verdict, f"Seen {qualifier}{', as it should be' if good else f'; it should be {wanted}'}."
    if qualifier is Qualifier.TONE:
        if wanted == ContactState.OPEN:
            return Verdict.OUT_OF_RANGE, "A tone; it should be open."
        return Verdict.CANNOT_JUDGE, "A tone is no proof of a good contact: it sounds far above 1 Ω."
    if wanted == ContactState.CLOSED:
        return Verdict.OUT_OF_RANGE, "No tone; it should be closed."
    return Verdict.CANNOT_JUDGE, "No tone doesn't tell an open contact from one with high resistance."


def leads(state: ContactState, *, wanted: str) -> str:
    """Of the leads by themselves, apart or together."""
    if state == wanted:
        return (
            "As leads should read."
            if wanted == ContactState.CLOSED
            else "Nothing between the leads, as it should be."
        )
    if wanted == ContactState.CLOSED:
        return "Leads together should read no more than 1 Ω: look at leads, fuse, socket and battery."
    return "Leads apart should read over-limit: look at the leads and the sockets."


def zero(*, good: bool, digits: float) -> str:
    if good:
        return "The instrument was at zero."
    return f"More than {digits:g} digit off zero: every later reading carries this error."


def tone(qualifier: Qualifier, *, good: bool) -> str:
    heard = "A tone" if qualifier is Qualifier.TONE else "No tone"
    return f"{heard}, as it should be." if good else f"{heard}: look at leads, fuse, socket and battery."


def zero_in_words(*, good: bool) -> str:
    return zero(good=True, digits=1) if good else "Off zero: every later reading carries this error."


def falls(verdict: Verdict, *, percent: float, of: str) -> str:
    words = wording.relation_words(RelationKind.FALLS_BY, verdict=verdict)
    return _sentence(f"{words}: at least {percent:g} % from your own “{of}”")


def falls_in_words(verdict: Verdict, *, of: str) -> str:
    words = wording.relation_words(RelationKind.FALLS_BY, verdict=verdict)
    return _sentence(f"{words}, from your own “{of}”")


def nothing_to_fall_from(of: str) -> str:
    return f"Your own “{of}” can't be told from zero, so there is nothing to fall from."


def reverses(verdict: Verdict, *, before: Decimal, after: Decimal, unit: str, of: str) -> str:
    words = wording.relation_words(RelationKind.REVERSES_SIGN, verdict=verdict)
    return _sentence(f"{words}: {_figure(before, unit)} on your own “{of}”, {_figure(after, unit)} here")


def reverses_in_words(verdict: Verdict, *, of: str) -> str:
    words = wording.relation_words(RelationKind.REVERSES_SIGN, verdict=verdict)
    return _sentence(f"{words}, against your own “{of}”")


def closes(verdict: Verdict, *, high: Decimal, low: Decimal, difference: Decimal, unit: str) -> str:
    words = wording.relation_words(RelationKind.CLOSES, verdict=verdict)
    less = f"− ({_signed(low)})" if low < 0 else f"− {low:f}"
    return _sentence(
        f"{words}: {_signed(high)} {less} = {_signed(high - low)}, against {_figure(difference, unit)}"
    )


def closes_in_words(verdict: Verdict) -> str:
    return _sentence(wording.relation_words(RelationKind.CLOSES, verdict=verdict))


def repeats(verdict: Verdict, *, spread: Decimal, allowed: Decimal, unit: str, count: int) -> str:
    words = wording.relation_words(RelationKind.REPEATS_WITHIN, verdict=verdict)
    return _sentence(
        f"{words}: {count} of them {_figure(spread, unit)} apart, against {_figure(allowed, unit)}"
    )


def repeats_in_words(verdict: Verdict) -> str:
    return _sentence(wording.relation_words(RelationKind.REPEATS_WITHIN, verdict=verdict))


def computed(said: str, *, answer: Decimal, computed: Decimal, unit: str) -> str:
    """What was said of an answer, with what it should have been from the candidate's own figures."""
    return f"{said} Your answer is {_figure(answer, unit)}; they come to {_figure(computed, unit)}."


_STATES: Mapping[ContactState, str] = {
    ContactState.CLOSED: "closed",
    ContactState.OPEN: "open",
    ContactState.HIGH_RESISTANCE: "of high resistance",
    ContactState.BORDERLINE: "too close to the limit to tell",
    ContactState.BELOW_LEADS: "less than the leads alone",
    ContactState.CANNOT_JUDGE: "not to be judged",
}


def _figure(value: Decimal, unit: str) -> str:
    return _signed(value) if unit == PLAIN else f"{_signed(value)}{NARROW_SPACE}{unit}"


def _signed(value: Decimal) -> str:
    """With a true minus, and none before a zero."""
    return f"{value:f}".replace("-", "\N{MINUS SIGN}" if value else "")


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."
