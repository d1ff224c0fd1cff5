"""What an assessor decides one by one, where the marking can't tell: met or not, and by what."""

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import UUID

from academy.refusals import Refused
from academy.seals import sealed
from assessments.marking.points import Point, left_to_assessor
from assessments.marking.results import Marking, ProposedDecision
from assessments.models import Judgement, SignOff
from assessments.models.decisions import Decision


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What was decided on a point. ``met`` is None while it isn't."""

    met: bool | None
    reason: str


def needed(marking: Marking, decision: str) -> tuple[Point, ...]:
    """The points that such a decision rests on, each to be judged with a reason.

    None for one borderline by itself with all else well, if that is found competent, and none where the
    attempt isn't there yet whatever they come to.
    """
    if marking.lone_borderline and decision == Decision.COMPETENT:
        return ()
    if marking.proposal == ProposedDecision.NOT_YET_COMPETENT and decision != Decision.COMPETENT:
        return ()
    return left_to_assessor(marking)


def require(
    *, marking: Marking, decision: str, judged: Mapping[str, Judged]
) -> tuple[tuple[Point, Judged], ...]:
    """What was judged, in the marking's order. Refused where a point that is needed isn't, or has no reason.

    ``judged`` is by the points' keys; what it holds of points that needn't be is kept where it is whole.
    """
    wanted = {point.key for point in needed(marking, decision)}
    found = []
    for point in left_to_assessor(marking):
        said = judged.get(point.key, Judged(met=None, reason=""))
        if said.met is not None and said.reason.strip():
            found.append((point, said))
        elif point.key in wanted and said.met is None:
            raise Refused(f"{point.title}: decide whether it is met.", field=f"met-{point.key}")
        elif point.key in wanted:
            raise Refused(f"{point.title}: say what you decided it by.", field=f"why-{point.key}")
    return tuple(found)


def comes_to(found: tuple[tuple[Point, Judged], ...]) -> Decision:
    """The decision that follows where the rest is met: no point makes up for another."""
    every = all(said.met for _, said in found)
    return Decision.COMPETENT if every else Decision.NOT_YET_COMPETENT


def keep(*, signed: SignOff, found: tuple[tuple[Point, Judged], ...]) -> None:
    steps = dict(signed.attempt.version.steps.values_list("slug", "pk")) if found else {}
    Judgement.objects.bulk_create(
        Judgement(
            sign_off=signed,
            position=position,
            strand=point.strand,
            step_id=steps[point.step],
            reading_id=UUID(point.reading) if point.reading else None,
            met=said.met is True,
            reason=said.reason.strip(),
        )
        for position, (point, said) in enumerate(found, start=1)
    )


def facts(*, found: tuple[tuple[Point, Judged], ...], salt: str) -> list[str]:
    """For the ledger: each point with what was decided, its reason sealed."""
    return [
        f"{point.key}: {'met' if said.met else 'not-met'}, {sealed(said.reason.strip(), salt)}"
        for point, said in found
    ]
