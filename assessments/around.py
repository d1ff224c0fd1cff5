"""What stands around an attempt for staff: adjustments, prompts, returns, earlier decisions, appeals."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from academy.models import Person
from academy.permissions import Permission
from assessments import adjustments, appeals, countersigning, prompts, rights, signoff, voids
from assessments.models import Adjustment, Appeal, Attempt, AttemptReturn, AttemptVoid, Prompt, SignOff
from assessments.models.attempts import AttemptStatus


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    label: str
    url: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """``earlier`` are decisions that don't stand any more, ``provisional`` the one that waits for a second.

    ``why_no_signature`` is why this reader may not countersign it.
    """

    minutes: int
    guide_minutes: int
    adjustments: tuple[Adjustment, ...]
    prompts: tuple[Prompt, ...]
    returns: tuple[AttemptReturn, ...]
    void: AttemptVoid | None
    provisional: SignOff | None
    why_no_signature: str | None
    standing: SignOff | None
    earlier: tuple[SignOff, ...]
    appeals: tuple[Appeal, ...]
    actions: tuple[Action, ...]


def around_attempt(
    attempt: Attempt, *, person: Person, may: Collection[Permission], at: datetime
) -> Around | None:
    """What stands around an attempt for that reader. None to its candidate, whatever their role."""
    if attempt.candidate_id == person.pk:
        return None
    on = attempt.rig.centre.date_at(at)
    agreed = adjustments.in_force(candidate=attempt.candidate, on=on)
    decisions = signoff.history(attempt)
    standing = next((each for each in decisions if _stands(each, decisions)), None)
    provisional = decisions[0] if decisions and attempt.status == AttemptStatus.COUNTERSIGN else None
    why_no_signature = None
    if provisional is not None:
        provisional.attempt = attempt
        why_no_signature = countersigning.why_not(signed=provisional, person=person, at=at)
    return Around(
        minutes=adjustments.minutes(attempt.version.guide_minutes, agreed),
        guide_minutes=attempt.version.guide_minutes,
        adjustments=agreed,
        prompts=tuple(prompts.of_attempt(attempt)),
        returns=tuple(
            attempt.returns.select_related("returned_by", "outcome").prefetch_related("steps").order_by("at")
        ),
        void=AttemptVoid.objects.filter(attempt=attempt).select_related("voided_by", "hold").first(),
        provisional=provisional,
        why_no_signature=why_no_signature,
        standing=standing,
        earlier=tuple(each for each in decisions if each not in (standing, provisional)),
        appeals=tuple(Appeal.objects.filter(sign_off__attempt=attempt).select_related("opened_by")),
        actions=tuple(
            _actions(
                attempt,
                standing=standing,
                provisional=provisional if why_no_signature is None else None,
                person=person,
                may=may,
                at=at,
            )
        ),
    )


def _stands(signed: SignOff, decisions: list[SignOff]) -> bool:
    """As `SignOff.objects.current` says it, of rows that are at hand."""
    signature = getattr(signed, "countersignature", None)
    superseded = any(each.supersedes_id == signed.pk for each in decisions)
    return not superseded and (not signed.is_provisional or signature is not None)


def _actions(
    attempt: Attempt,
    *,
    standing: SignOff | None,
    provisional: SignOff | None,
    person: Person,
    may: Collection[Permission],
    at: datetime,
) -> Iterator[Action]:
    decides = Permission.ATTEMPT_DECIDE in may and not rights.conflicted(
        person=person, candidate=attempt.candidate_id, on=attempt.rig.centre.date_at(at)
    )
    if provisional is not None and decides:
        yield Action(
            label="Countersign, or decide otherwise", url=reverse("countersign", args=[provisional.pk])
        )
    if decides and attempt.status == AttemptStatus.SUBMITTED:
        yield Action(label="Return for one more reading", url=reverse("attempt-return", args=[attempt.pk]))
    if decides and attempt.status in prompts.UNDECIDED:
        yield Action(label="Note a prompt", url=reverse("prompt-give", args=[attempt.pk]))
    if decides and attempt.status in voids.UNDECIDED:
        yield Action(label="Make it void", url=reverse("attempt-void", args=[attempt.pk]))
    if standing is not None and Permission.APPEAL_READ in may:
        standing.attempt = attempt
        if appeals.why_not(signed=standing, at=at) is None:
            yield Action(
                label="Open an appeal for the candidate", url=reverse("appeal-open", args=[standing.pk])
            )
