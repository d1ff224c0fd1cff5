"""What happened to an attempt, as a time line: who did what, and where it stands on record."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from assessments.models import Attempt, ImpactItem, Outcome, Prompt, SignOff, Verification


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """``mark`` is the code of a verdict or state, ``note`` somebody's own words or a remark.

    ``page`` is the URL name of the record for staff, by the id ``about``; empty where it has no page.
    """

    at: datetime
    what: str
    who: str = ""
    mark: str = ""
    note: str = ""
    page: str = ""
    about: UUID | None = None


def events_of(attempt: Attempt) -> tuple[Event, ...]:
    """All that happened, in order of time. Everything named in `assessments.trails` must be looked up."""
    found = [
        *_work(attempt),
        *(_prompt(each) for each in attempt.prompts.all()),
        *(_marking(each) for each in attempt.outcomes.all()),
        *_returns(attempt),
        *(event for signed in attempt.sign_offs.all() for event in _decision(signed)),
        *(event for item in attempt.impact_items.all() for event in _impact(item)),
        *_void(attempt),
    ]
    return tuple(sorted(found, key=lambda event: event.at))


def _work(attempt: Attempt) -> Iterator[Event]:
    name = attempt.candidate.name
    yield Event(at=attempt.started_at, what="Begun, cautions read and confirmed", who=name)
    if attempt.fault is not None:
        fault = attempt.fault
        yield Event(
            at=fault.set_at,
            what=f"Fault set on the rig: {fault.fault.label}",
            who=fault.set_by.name,
            page="fault-detail",
            about=fault.pk,
        )
    if attempt.submitted_at is not None:
        paper = attempt.transcribed_by
        yield Event(
            at=attempt.submitted_at,
            what="Handed in" if paper is None else "Log sheet typed in and handed in",
            who=name if paper is None else paper.name,
        )


def _prompt(prompt: Prompt) -> Event:
    where = "" if prompt.step is None else f", at “{prompt.step.title}”"
    return Event(
        at=prompt.at,
        what=f"Prompt {prompt.level}, {prompt.get_level_display().lower()}{where}",
        who=prompt.given_by.name,
        note=prompt.words,
    )


def _marking(outcome: Outcome) -> Event:
    proposal = str(outcome.proposal)
    return Event(
        at=outcome.made_at,
        what=f"Marked by the site: marking {outcome.number}, engine {outcome.engine}, proposes",
        mark="" if proposal == "assessor" else proposal,
        note="For the assessor to decide." if proposal == "assessor" else "",
    )


def _returns(attempt: Attempt) -> Iterator[Event]:
    for each in attempt.returns.all():
        if each.handed_in_at != attempt.submitted_at:
            yield Event(at=each.handed_in_at, what="Handed in", who=attempt.candidate.name)
        yield Event(
            at=each.at,
            what="Returned for one more reading",
            who=each.returned_by.name,
            mark="returned",
            note=each.words,
        )


def _decision(signed: SignOff) -> Iterator[Event]:
    first = "Decided again" if signed.supersedes_id else "Decided"
    yield Event(
        at=signed.at,
        what=f"{first}{', in training: to be countersigned' if signed.is_provisional else ''}",
        who=signed.assessor.name,
        mark=signed.decision,
        note="\n\n".join(
            words for words in (signed.feedback, signed.reason and f"Reason: {signed.reason}") if words
        ),
        page="review-detail",
        about=signed.attempt_id,
    )
    counter = getattr(signed, "countersignature", None)
    if counter is not None:
        yield Event(at=counter.at, what="Countersigned", who=counter.countersigned_by.name, note=counter.note)
    for sampled in signed.sampled.all():
        verification = getattr(sampled, "verification", None)
        if verification is not None:
            yield from _verification(verification, sampled=sampled.pk)
    for appeal in signed.appeals.all():
        yield Event(at=appeal.opened_at, what=f"Appeal opened, {appeal.get_stage_display().lower()}")
        if appeal.decided_at is not None:
            yield Event(
                at=appeal.decided_at,
                what=f"Appeal answered: {appeal.get_result_display().lower()}",
                who=appeal.decided_by.name if appeal.decided_by else "",
                note=appeal.reason,
            )


def _verification(verification: Verification, *, sampled: UUID) -> Iterator[Event]:
    who = verification.verifier.name
    yield Event(
        at=verification.decided_at,
        what="Verified blind: own decision",
        who=who,
        mark=verification.own_decision,
        note=verification.own_note,
        page="sampled-detail",
        about=sampled,
    )
    if verification.compared_at is not None:
        yield Event(
            at=verification.compared_at,
            what=f"Compared with the assessor’s: {verification.get_agreement_display().lower()}",
            who=who,
            note=verification.note,
            page="sampled-detail",
            about=sampled,
        )
    for action in verification.actions.all():
        closed = f" Closed: {action.closure}" if action.closure else " Still open."
        yield Event(
            at=action.raised_at,
            what=f"Action for {action.owner.name}, due {action.due_on:%-d %B %Y}",
            note=f"{action.text}{closed}",
            page="sampled-detail",
            about=sampled,
        )


def _impact(item: ImpactItem) -> Iterator[Event]:
    review, suspension = item.review, item.suspended
    yield Event(
        at=review.opened_at,
        what=f"In the time in doubt of impact review {review.number}",
        note=item.get_effect_display() if item.effect else "Not marked again yet.",
        page="impact-item",
        about=item.pk,
    )
    if suspension is not None:
        yield Event(at=suspension.since, what="Left out of account by that review", mark="suspended")
        if suspension.lifted_at is not None:
            lifted = suspension.lifted_by
            yield Event(at=suspension.lifted_at, what="Counts again", who=lifted.name if lifted else "")
    if item.resolved_at is not None:
        yield Event(
            at=item.resolved_at,
            what=f"Impact resolved: {item.get_resolution_display().lower()}",
            who=item.resolved_by.name if item.resolved_by else "",
            note=item.reason,
        )


def _void(attempt: Attempt) -> Iterable[Event]:
    void = getattr(attempt, "void", None)
    if void is not None:
        yield Event(
            at=void.at,
            what=f"Void: {void.get_cause_display().lower()}",
            who=void.voided_by.name,
            mark="void",
            note=void.reason,
        )
