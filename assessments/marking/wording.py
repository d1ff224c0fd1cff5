"""What marking says of a reading: the metrology's words made into sentences, and what it has no words for."""

import math
from collections.abc import Mapping
from decimal import Decimal

from rigs.metrology import wording
from rigs.metrology.conformity import ContactState, Verdict
from rigs.metrology.quantities import Qualifier
from rigs.metrology.relations import RelationKind

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


def contact(state: ContactState, *, wanted: str, net: float, limit: float) -> str:
    """Of a contact or of the leads by themselves, ``net`` in Ω with the leads taken off (NaN for none)."""
    found = wording.contact_words(state)
    if state == wanted:
        return _sentence(f"{found}, as it should be")
    if not math.isnan(net) and state in (ContactState.HIGH_RESISTANCE, ContactState.BORDERLINE):
        found = wording.contact_sentence(state=state, resistance=net, limit=limit, last=Decimal("0.1"))
    return _sentence(f"{found}; it should be {wanted}")


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


def falls(verdict: Verdict, *, percent: float, of: str) -> str:
    words = wording.relation_words(RelationKind.FALLS_BY, verdict=verdict)
    return _sentence(f"{words}: at least {percent:g} % from your own “{of}”")


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."
