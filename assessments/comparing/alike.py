"""Decisions of several assessors on the same attempts, each made without knowing the others'."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from rigs.metrology.agreement import Kappa, Share, cohens_kappa, fleiss_kappa, wilson
from rigs.metrology.samples import SampleError

# An interval wider than this leaves open whether agreement is poor or good (common practice, no source).
TELLS_LITTLE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """What the decisions say of agreement.

    ``differing`` are the attempts on which not all agree, ``critical`` those of them at which a
    safety-critical step was in question. ``kappa`` is None where all decisions are one and the same, or one
    of two assessors gave the same throughout: it is 0 then, whatever the other did.
    """

    assessors: int
    share: Share
    differing: tuple[str, ...]
    critical: tuple[str, ...]
    kappa: Kappa | None

    @property
    def alike(self) -> int:
        return self.share.n - len(self.differing)

    @property
    def measure(self) -> str:
        return "Cohen’s κ" if self.assessors == 2 else "Fleiss’ κ"


def compare(decisions: Mapping[str, Mapping[str, str]], *, critical: Collection[str] = ()) -> Compared | None:
    """Compare decisions by attempt and assessor; every assessor has decided on every attempt.

    Cohen's kappa for two assessors, Fleiss' for more. None with fewer than two of either, where there is
    nothing to compare. Raises SampleError where an assessor left an attempt out.
    """
    assessors = sorted({each for of_attempt in decisions.values() for each in of_attempt})
    if any(len(of_attempt) != len(assessors) for of_attempt in decisions.values()):
        raise SampleError("Somebody left an attempt out. Compare those who decided on every one.")
    if len(assessors) < 2 or len(decisions) < 2:
        return None
    differing = tuple(key for key, of_attempt in decisions.items() if len(set(of_attempt.values())) > 1)
    return Compared(
        assessors=len(assessors),
        share=wilson(count=len(decisions) - len(differing), n=len(decisions)),
        differing=differing,
        critical=tuple(key for key in differing if key in critical),
        kappa=_kappa(decisions, assessors),
    )


def _kappa(decisions: Mapping[str, Mapping[str, str]], assessors: list[str]) -> Kappa | None:
    verdicts = sorted({verdict for of_attempt in decisions.values() for verdict in of_attempt.values()})
    if len(verdicts) < 2:
        return None
    if len(assessors) > 2:
        return fleiss_kappa(
            [[list(each.values()).count(verdict) for verdict in verdicts] for each in decisions.values()]
        )
    one, other = assessors
    pairs = [(each[one], each[other]) for each in decisions.values()]
    if any(len(set(given)) == 1 for given in zip(*pairs, strict=True)):
        return None
    return cohens_kappa([[pairs.count((row, column)) for column in verdicts] for row in verdicts])


def meaning(found: Compared) -> str:
    """What the figures allow to be said, in a sentence or two."""
    if found.kappa is None or not found.differing:
        return _of_the_share(found)
    lower, upper = (_figure(end) for end in (found.kappa.lower, found.kappa.upper))
    runs = f"With {found.share.n} attempts the interval runs from {lower} to {upper}"
    if found.kappa.upper <= 0:
        return f"{runs}: they agree no more than chance would have it."
    if found.kappa.lower <= 0:
        return f"{runs}: it says little, and agreement by chance alone isn’t ruled out."
    if found.kappa.upper - found.kappa.lower > TELLS_LITTLE:
        return f"{runs}: more than chance, but how much more it hardly says."
    return f"{runs}: of the agreement that chance leaves to be had, about that share was reached."


def _of_the_share(found: Compared) -> str:
    """What is left to say where kappa says nothing."""
    lower, upper = (f"{100 * end:.0f} %" for end in (found.share.lower, found.share.upper))
    if found.differing:
        return (
            "One of the two gave the same decision throughout, so κ says nothing: it is 0 then, whatever the "
            f"other decides. Of other attempts {lower} to {upper} would be decided alike."
        )
    alike = (
        f"All decisions on the {found.share.n} attempts were one and the same, so κ says nothing."
        if found.kappa is None
        else f"All agreed on each of the {found.share.n} attempts, so κ is 1 and its interval has no width."
    )
    return f"{alike} Of other attempts at least {lower} would be decided alike."


def _figure(value: float) -> str:
    return f"{value:.2f}".replace("-", "\N{MINUS SIGN}")
