"""Why an attempt that was handed in is worth a longer look, for the one who decides on it.

Each reason has a weight, and an attempt's risk is their sum, so that anybody can work it out again (common
practice, no source). Nothing here decides anything, and no candidate is shown any of it.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from uuid import UUID

from django.db.models import Max, OuterRef, Q, Subquery

from assessments import decision_times, flags
from assessments.marking.plausibility import Flag, FlagKind
from assessments.models import Attempt, AttemptReturn, Outcome, Prompt, SignOff, TaskVersion
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.decisions import Decision, Proposal, Strand
from assessments.models.prompts import PromptLevel
from rigs.models import Baseline, Check, Hold
from rigs.models.checks import CheckVerdict

FIRST_OF_VERSION, FIRST_OF_BASELINE = 10, 5
"""So many decisions something counts as new for (common practice, no source)."""


class Reason(StrEnum):
    """Why an attempt is worth a longer look."""

    BREACH = "breach"
    NOT_YET = "not-yet"
    PROMPTED = "prompted"
    TO_DECIDE = "to-decide"
    FLAGGED = "flagged"
    RIG = "rig"
    RETURNED = "returned"
    LATE = "late"
    RESIT = "resit"
    NEW_VERSION = "new-version"
    NEW_BASELINE = "new-baseline"


WEIGHTS: Mapping[Reason, int] = {
    Reason.BREACH: 8,
    Reason.NOT_YET: 4,
    Reason.PROMPTED: 4,
    Reason.TO_DECIDE: 4,
    Reason.FLAGGED: 3,
    Reason.RIG: 3,
    Reason.RETURNED: 2,
    Reason.LATE: 2,
    Reason.RESIT: 1,
    Reason.NEW_VERSION: 1,
    Reason.NEW_BASELINE: 1,
}
SAYS: Mapping[Reason, str] = {
    Reason.BREACH: "a safety-critical step isn’t met",
    Reason.NOT_YET: "the marking proposes not yet competent",
    Reason.PROMPTED: "a hint, or stepping in for safety, is on record",
    Reason.TO_DECIDE: "the marking leaves something to you",
    Reason.FLAGGED: "there is something to ask about",
    Reason.RIG: "the rig or an instrument was put on watch or on hold since",
    Reason.RETURNED: "it was given back for one more reading",
    Reason.LATE: "it has waited longer than your centre wants",
    Reason.RESIT: "the candidate wasn’t there yet at this task before",
    Reason.NEW_VERSION: f"one of the first {FIRST_OF_VERSION} of a task version",
    Reason.NEW_BASELINE: f"one of the first {FIRST_OF_BASELINE} on a baseline",
}
AROUND = frozenset({Reason.LATE, Reason.RESIT, Reason.NEW_VERSION, Reason.NEW_BASELINE})
"""What is about the attempt's circumstances: with nothing else, there is nothing in it to look at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A reason as it is of one attempt, in words without a rig's numbers."""

    reason: Reason
    words: str

    @property
    def is_around(self) -> bool:
        return self.reason in AROUND


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """All that was looked up for the attempts of a queue, by attempt unless it says otherwise."""

    outcomes: Mapping[UUID, Outcome]
    flags: Mapping[UUID, tuple[Flag, ...]]
    prompts: Mapping[UUID, int]
    returned: Collection[UUID]
    not_yet: Mapping[tuple[UUID, UUID], list[datetime]]  # by candidate and task
    new_versions: Collection[UUID]
    new_baselines: Collection[UUID]
    trouble: Mapping[UUID, list[tuple[datetime, str]]]  # by rig or instrument
    taken: Mapping[UUID, list[tuple[UUID, str]]]

    @classmethod
    def of(cls, attempts: Sequence[Attempt]) -> "Known":
        keys = [attempt.pk for attempt in attempts]
        taken = _instruments(keys)
        return cls(
            outcomes=_outcomes(keys),
            flags=flags.of_attempts(keys),
            prompts=_prompts(keys),
            returned=set(AttemptReturn.objects.filter(attempt__in=keys).values_list("attempt", flat=True)),
            not_yet=_not_yet(attempts),
            new_versions=_new_versions({attempt.version_id for attempt in attempts}),
            new_baselines=_new_baselines({attempt.sheet_id for attempt in attempts if attempt.sheet_id}),
            trouble=_trouble(attempts, taken),
            taken=taken,
        )

    def told(self, attempt: Attempt, *, at: datetime) -> tuple[Told, ...]:
        """Its reasons, the weightiest first."""
        return tuple(sorted(self._told(attempt, at=at), key=lambda each: -WEIGHTS[each.reason]))

    def _told(self, attempt: Attempt, *, at: datetime) -> Iterator[Told]:
        yield from self._of_marking(self.outcomes[attempt.pk])
        raised = self.flags.get(attempt.pk, ())
        if raised:
            yield Told(reason=Reason.FLAGGED, words=", ".join(_kinds(raised)))
        level = self.prompts.get(attempt.pk, 0)
        if level >= PromptLevel.HINTED:
            yield Told(reason=Reason.PROMPTED, words=PromptLevel(level).label.lower())
        if attempt.pk in self.returned:
            yield Told(reason=Reason.RETURNED, words="given back once")
        trouble = [*self._of_rig(attempt)]
        if trouble:
            yield Told(reason=Reason.RIG, words=", ".join(trouble))
        yield from self._around(attempt, at=at)

    def _of_marking(self, outcome: Outcome) -> Iterator[Told]:
        if outcome.procedure == Strand.NOT_MET:
            yield Told(reason=Reason.BREACH, words="safety-critical step")
        if outcome.proposal == Proposal.NOT_YET_COMPETENT:
            yield Told(reason=Reason.NOT_YET, words="not yet competent")
        left = [
            name
            for name in ("procedure", "readings", "conclusion")
            if getattr(outcome, name) == Strand.TO_DECIDE
        ]
        if left:
            yield Told(reason=Reason.TO_DECIDE, words=f"for you to decide: {' and '.join(left)}")

    def _of_rig(self, attempt: Attempt) -> Iterator[str]:
        """What became of the rig or an instrument since the attempt was begun."""
        check = attempt.sheet.rig_check if attempt.sheet else None
        if check is not None and check.verdict != CheckVerdict.STEADY:
            yield f"{attempt.rig.tag} was on watch"
        for thing, tag in [(attempt.rig_id, attempt.rig.tag), *self.taken.get(attempt.pk, ())]:
            since = {word for when, word in self.trouble.get(thing, ()) if when >= attempt.started_at}
            yield from (f"{tag} {word} since" for word in sorted(since))

    def _around(self, attempt: Attempt, *, at: datetime) -> Iterator[Told]:
        lag = decision_times.lag(attempt=attempt, at=at, centre=attempt.rig.centre)
        if lag.is_late:
            yield Told(reason=Reason.LATE, words=f"{lag.days} days old")
        before = self.not_yet.get((attempt.candidate_id, attempt.version.task_id), ())
        if any(when < attempt.started_at for when in before):
            yield Told(reason=Reason.RESIT, words="resit")
        if attempt.version_id in self.new_versions:
            yield Told(reason=Reason.NEW_VERSION, words=f"version {attempt.version.number} is new")
        if attempt.sheet is not None and attempt.sheet.baseline_id in self.new_baselines:
            yield Told(reason=Reason.NEW_BASELINE, words=f"{attempt.rig.tag} has a new baseline")


KINDS = {
    FlagKind.TOO_FINE: "digits finer than the display",
    FlagKind.BEYOND_SCALE: "beyond the instrument’s scale",
    FlagKind.SAME_READINGS: "the same readings as somebody else",
    FlagKind.HURRIED_STEPS: "steps too quick for hands",
    FlagKind.HURRIED_ATTEMPT: "much quicker than planned",
    FlagKind.PHOTO_OUT_OF_TIME: "a photo from another time",
    FlagKind.PHOTO_USED_BEFORE: "a photo used before",
}


def _kinds(raised: Iterable[Flag]) -> list[str]:
    counts = Counter(flag.kind for flag in raised)
    return [KINDS[kind] + (f" ×{number}" if number > 1 else "") for kind, number in counts.items()]


def _outcomes(keys: Collection[UUID]) -> dict[UUID, Outcome]:
    latest = Outcome.objects.filter(attempt__in=keys).latest_of_each()
    return {each.attempt_id: each for each in latest.defer("inputs", "result")}


def _prompts(keys: Collection[UUID]) -> dict[UUID, int]:
    found = Prompt.objects.filter(attempt__in=keys).order_by().values_list("attempt")
    return dict(found.annotate(highest=Max("level")))


def _not_yet(attempts: Sequence[Attempt]) -> dict[tuple[UUID, UUID], list[datetime]]:
    found: defaultdict[tuple[UUID, UUID], list[datetime]] = defaultdict(list)
    decided = SignOff.objects.current().filter(
        attempt__candidate__in={attempt.candidate_id for attempt in attempts},
        attempt__version__task__in={attempt.version.task_id for attempt in attempts},
        attempt__purpose=Purpose.ASSESSMENT,
        decision=Decision.NOT_YET_COMPETENT,
    )
    for candidate, task, at in decided.values_list("attempt__candidate", "attempt__version__task", "at"):
        found[candidate, task].append(at)
    return found


def _new_versions(versions: Collection[UUID]) -> set[UUID]:
    """Those with fewer decisions than make a version known: nobody counts further than that."""
    decided = Attempt.objects.filter(version=OuterRef("pk"), status=AttemptStatus.SIGNED_OFF).order_by("pk")
    known = Subquery(decided.values("pk")[FIRST_OF_VERSION - 1 : FIRST_OF_VERSION])
    found = TaskVersion.objects.filter(pk__in=versions).annotate(known=known)
    return set(found.filter(known=None).values_list("pk", flat=True))


def _new_baselines(sheets: Collection[UUID]) -> set[UUID]:
    decided = Attempt.objects.filter(
        sheet__baseline=OuterRef("pk"), status=AttemptStatus.SIGNED_OFF
    ).order_by("pk")
    known = Subquery(decided.values("pk")[FIRST_OF_BASELINE - 1 : FIRST_OF_BASELINE])
    found = Baseline.objects.filter(value_sheets__in=sheets).annotate(known=known)
    return set(found.filter(known=None).values_list("pk", flat=True))


def _instruments(keys: Collection[UUID]) -> dict[UUID, list[tuple[UUID, str]]]:
    found: defaultdict[UUID, list[tuple[UUID, str]]] = defaultdict(list)
    rows = Attempt.objects.filter(pk__in=keys, instruments__isnull=False)
    for attempt, thing, tag in rows.values_list(
        "pk", "instruments__instrument", "instruments__instrument__tag"
    ):
        found[attempt].append((thing, tag))
    return found


def _trouble(
    attempts: Sequence[Attempt], taken: Mapping[UUID, list[tuple[UUID, str]]]
) -> dict[UUID, list[tuple[datetime, str]]]:
    """When each rig or instrument was put on watch or on hold, since the first of the attempts began."""
    found: defaultdict[UUID, list[tuple[datetime, str]]] = defaultdict(list)
    if not attempts:
        return found
    first = min(attempt.started_at for attempt in attempts)
    rigs = {attempt.rig_id for attempt in attempts}
    things = {thing for each in taken.values() for thing, _ in each}
    holds = Hold.objects.filter(Q(rig__in=rigs) | Q(instrument__in=things), placed_at__gte=first)
    for hold in holds:
        thing = hold.rig_id or hold.instrument_id
        assert thing is not None  # the database sees to it
        found[thing].append((hold.placed_at, "on hold"))
    checks = Check.objects.filter(rig__in=rigs, made_at__gte=first).exclude(verdict=CheckVerdict.STEADY)
    for rig, at in checks.values_list("rig", "made_at"):
        found[rig].append((at, "on watch"))
    return found
