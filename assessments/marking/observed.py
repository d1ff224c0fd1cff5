"""What an assessor saw of an attempt, beside what its candidate logged.

The safety-critical steps decide: one seen as not met leaves the observed strand not met, whatever else was
seen; all of them seen as met leave it met; anything between is for the assessor to decide.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from assessments.marking.results import StrandVerdict


class Seen(StrEnum):
    MET = "met"
    NOT_MET = "not-met"
    NOT_SEEN = "not-seen"


class Beside(StrEnum):
    """How the two accounts of a step go together."""

    CONFIRMED = "confirmed"
    CONTRADICTED = "contradicted"
    NOT_LOGGED = "not-logged"
    BOTH_SAY_NOT = "both-say-not"
    NOT_SEEN = "not-seen"


SENTENCES = {
    Beside.CONFIRMED: "Logged as done, and seen done.",
    Beside.CONTRADICTED: "Logged as done, but seen not done, or not as it must be.",
    Beside.NOT_LOGGED: "Seen done, but not logged.",
    Beside.BOTH_SAY_NOT: "Not logged, and seen not done, or not as it must be.",
    Beside.NOT_SEEN: "Nobody watched this step.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """A step as its candidate logged it, and as the assessor saw it."""

    step: str
    title: str
    safety_critical: bool
    logged: bool
    seen: Seen
    note: str = ""

    @property
    def beside(self) -> Beside:
        match self.seen, self.logged:
            case Seen.NOT_SEEN, _:
                return Beside.NOT_SEEN
            case Seen.MET, True:
                return Beside.CONFIRMED
            case Seen.MET, False:
                return Beside.NOT_LOGGED
            case _, True:
                return Beside.CONTRADICTED
        return Beside.BOTH_SAY_NOT

    @property
    def sentence(self) -> str:
        return SENTENCES[self.beside]


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """Every safety-critical step, then the others of which something was seen."""

    accounts: tuple[Account, ...]
    verdict: StrandVerdict

    @property
    def not_met(self) -> tuple[Account, ...]:
        """The safety-critical steps that were seen as not done: no decision passes over them in silence."""
        return tuple(each for each in self.accounts if each.safety_critical and each.seen is Seen.NOT_MET)


def observed(accounts: Iterable[Account]) -> Observed | None:
    """The observed strand; None where nothing of the attempt was seen."""
    every = tuple(accounts)
    if all(each.seen is Seen.NOT_SEEN for each in every):
        return None
    critical = tuple(each for each in every if each.safety_critical)
    others = tuple(each for each in every if not each.safety_critical and each.seen is not Seen.NOT_SEEN)
    return Observed(accounts=critical + others, verdict=_verdict(critical))


def _verdict(critical: tuple[Account, ...]) -> StrandVerdict:
    if any(each.seen is Seen.NOT_MET for each in critical):
        return StrandVerdict.NOT_MET
    if critical and all(each.seen is Seen.MET for each in critical):
        return StrandVerdict.MET
    return StrandVerdict.TO_DECIDE
