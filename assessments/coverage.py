"""What a candidate has shown of the criteria, by which evidence, and what is still missing."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from academy.models import Person
from assessments.models import Attempt, Criterion, PriorAchievement, SignOff, TaskVersion
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.decisions import Decision


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """An attempt that was signed off. ``number`` is its place in the portfolio, by handing in."""

    number: int
    attempt: Attempt
    signed: SignOff

    @property
    def counts(self) -> bool:
        """Whether it shows its task's criteria: practice doesn't, nor what is suspended."""
        found = self.attempt.purpose == Purpose.ASSESSMENT and self.signed.decision == Decision.COMPETENT
        return found and not self.is_suspended

    @property
    def is_suspended(self) -> bool:
        """Left out of account by an impact review."""
        return bool(self.signed.is_suspended)  # type: ignore[attr-defined]  # annotated where it is read


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What shows a criterion: the attempt of that number, or, with none, what was achieved before.

    ``day`` is the day on which it was worked; ``rig`` its tag, empty for what was achieved before, which
    counts as a rig of its own.
    """

    number: int | None
    label: str
    on: date | datetime
    day: date
    rig: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CoveredCriterion:
    """A criterion, what shows it so far, and the titles of the tasks that can.

    It asks for so many attempts, and for so many rigs and days among them, at the least.
    """

    code: str
    text: str
    evidence: tuple[Evidence, ...]
    shown_by: tuple[str, ...]
    least_attempts: int = 1
    least_rigs: int = 1
    least_days: int = 1

    @property
    def attempts(self) -> int:
        return len(self.evidence)

    @property
    def rigs(self) -> int:
        before = sum(not each.rig for each in self.evidence)
        return before + len({each.rig for each in self.evidence if each.rig})

    @property
    def days(self) -> int:
        return len({each.day for each in self.evidence})

    @property
    def is_covered(self) -> bool:
        return not self.lacks

    @property
    def asks(self) -> str:
        """What it asks for beyond one attempt, in words; empty where that is enough."""
        if self.least_attempts == 1:
            return ""
        others = [
            _counted(least, noun)
            for least, noun in ((self.least_rigs, "rig"), (self.least_days, "day"))
            if least > 1
        ]
        on = f" on {' and '.join(others)}" if others else ""
        return f"{_counted(self.least_attempts, 'attempt')}{on} at the least"

    @property
    def has(self) -> str:
        """How much there is of it, in words."""
        where = f"{_counted(self.rigs, 'rig')} and {_counted(self.days, 'day')}"
        return f"{_counted(self.attempts, 'attempt')} on {where}"

    @property
    def lacks(self) -> str:
        """What is missing, in words; empty where nothing is."""
        attempts = self.least_attempts - self.attempts
        rigs, days = self.least_rigs - self.rigs, self.least_days - self.days
        if not self.evidence:
            return self.asks or "one attempt"
        wanted = max(attempts, rigs, days)
        if wanted <= 0:
            return ""
        where = [text for least, text in ((rigs, "another rig"), (days, "another day")) if least > 0]
        return f"{_counted(wanted, 'more attempt')}" + (f", on {' and on '.join(where)}" if where else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitCoverage:
    unit: str
    criteria: tuple[CoveredCriterion, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    units: tuple[UnitCoverage, ...]

    @property
    def criteria(self) -> tuple[CoveredCriterion, ...]:
        return tuple(criterion for unit in self.units for criterion in unit.criteria)

    @property
    def missing(self) -> tuple[CoveredCriterion, ...]:
        return tuple(criterion for criterion in self.criteria if not criterion.is_covered)


NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


def _counted(number: int, noun: str) -> str:
    words = NUMBERS[number] if number < len(NUMBERS) else str(number)
    return f"{words} {noun}{'' if number == 1 else 's'}"


def decided_attempts(attempts: QuerySet[Attempt], *, candidate: Person) -> tuple[Decided, ...]:
    """A candidate's signed-off attempts with the decision that stands, numbered."""
    standing = Prefetch(
        "sign_offs",
        SignOff.objects.current()
        .with_suspension()
        .select_related("assessor", "outcome", "countersignature__countersigned_by")
        .prefetch_related("judgements__step", "judgements__reading"),
        to_attr="standing",
    )
    found = (
        attempts.filter(candidate=candidate, status=AttemptStatus.SIGNED_OFF)
        .select_related("rig__centre", "version__task")
        .prefetch_related(standing, "version__criteria")
        .order_by("submitted_at", "pk")
    )
    return tuple(
        Decided(number=number, attempt=attempt, signed=attempt.standing[0])
        for number, attempt in enumerate(found, start=1)
    )


def prior_achievements(candidate: Person) -> tuple[PriorAchievement, ...]:
    return tuple(
        PriorAchievement.objects.filter(candidate=candidate)
        .select_related("task", "recorded_by")
        .order_by("achieved_on", "task__position")
    )


def coverage(
    *, candidate: Person, decided: Iterable[Decided], priors: Iterable[PriorAchievement]
) -> Coverage:
    """Set a centre's criteria beside what shows them. A constant number of queries.

    What was achieved before shows the criteria that its task has now.
    """
    in_force = (
        TaskVersion.objects.visible_to(candidate)
        .in_force()
        .select_related("task")
        .prefetch_related("criteria")
    )
    # A task may be in force on several designs: it shows what any of them shows.
    tasks: dict[int, dict[str, None]] = defaultdict(dict)
    shows: dict[UUID, set[int]] = defaultdict(set)
    for version in in_force.order_by("task__position"):
        for criterion in version.criteria.all():
            tasks[criterion.pk][version.task.title] = None
            shows[version.task_id].add(criterion.pk)
    evidence: dict[int, list[Evidence]] = defaultdict(list)
    for prior in priors:
        shown = Evidence(
            number=None,
            label=f"Achieved before: {prior.task}",
            on=prior.achieved_on,
            day=prior.achieved_on,
        )
        for shows_it in shows[prior.task_id]:
            evidence[shows_it].append(shown)
    for each in decided:
        label = f"{each.attempt.version.task}, {each.attempt.rig.tag}"
        shown = Evidence(
            number=each.number,
            label=label,
            on=each.signed.at,
            day=_day_of(each.attempt),
            rig=each.attempt.rig.tag,
        )
        for criterion in each.attempt.version.criteria.all() if each.counts else ():
            evidence[criterion.pk].append(shown)
    return _by_unit(Criterion.objects.filter(centre=candidate.centre_id).order_by("pk"), evidence, tasks)


def _day_of(attempt: Attempt) -> date:
    """The day on which it was worked: that of the log sheet, or of its start."""
    return attempt.observed_on or attempt.rig.centre.date_at(attempt.started_at)


def _by_unit(
    criteria: Iterable[Criterion], evidence: Mapping[int, list[Evidence]], tasks: Mapping[int, Iterable[str]]
) -> Coverage:
    units: dict[str, list[CoveredCriterion]] = defaultdict(list)
    for each in criteria:
        units[each.unit].append(
            CoveredCriterion(
                code=each.code,
                text=each.text,
                evidence=tuple(evidence.get(each.pk, ())),
                shown_by=tuple(tasks.get(each.pk, ())),
                least_attempts=each.least_attempts,
                least_rigs=each.least_rigs,
                least_days=each.least_days,
            )
        )
    return Coverage(
        units=tuple(UnitCoverage(unit=unit, criteria=tuple(found)) for unit, found in units.items())
    )
