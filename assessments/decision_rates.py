"""Whose decisions, on what and where, come out otherwise than the others': assessors, rigs and tasks."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from uuid import UUID

from academy.models import Centre, Membership
from assessments.comparing.rates import Decided, Rates, answer, rates
from assessments.models import SignOff
from assessments.models.attempts import AttemptStatus, Purpose
from assessments.models.decisions import Decision, suspended


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One decision, by the names under which it is compared."""

    assessor: str
    rig: str
    task: str
    cohort: str
    competent: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Is one of these the odd one out? ``alike`` says what is held alike."""

    noun: str
    alike: str
    rates: Rates

    @property
    def title(self) -> str:
        return f"{self.noun.capitalize()}s"

    @property
    def answer(self) -> str:
        return answer(self.rates, noun=self.noun)


def questions(*, centre: Centre, starts_on: date, ends_on: date) -> tuple[Question, ...]:
    """The same question of assessors, rigs and tasks, from those days' decisions. Three queries."""
    rows = decided(centre=centre, starts_on=starts_on, ends_on=ends_on)
    return (
        _question(rows, noun="assessor", alike="task and cohort", of=lambda row: row.assessor),
        _question(rows, noun="rig", alike="task and cohort", of=lambda row: row.rig),
        _question(rows, noun="task", alike="cohort", of=lambda row: row.task),
    )


def _question(rows: Iterable[Row], *, noun: str, alike: str, of: Callable[[Row], str]) -> Question:
    by_task = noun != "task"
    return Question(
        noun=noun,
        alike=alike,
        rates=rates(
            Decided(
                group=of(row),
                stratum=(row.task, row.cohort) if by_task else row.cohort,
                competent=row.competent,
            )
            for row in rows
        ),
    )


def decided(*, centre: Centre, starts_on: date, ends_on: date) -> list[Row]:
    """The decisions on assessments of those days, both included, that stand and count.

    Without those an impact review has suspended: whatever is wrong there isn't the assessor's doing.
    """
    begins = datetime.combine(starts_on, time.min, tzinfo=centre.zone)
    ends = datetime.combine(ends_on + timedelta(days=1), time.min, tzinfo=centre.zone)
    found = (
        SignOff.objects.current()
        .exclude(suspended())
        .filter(
            attempt__rig__centre=centre,
            attempt__purpose=Purpose.ASSESSMENT,
            attempt__status=AttemptStatus.SIGNED_OFF,
            at__gte=begins,
            at__lt=ends,
        )
        .values_list(
            "assessor",
            "assessor__name",
            "attempt__rig__tag",
            "attempt__version__task__title",
            "attempt__candidate",
            "decision",
        )
    )
    rows = list(found)
    names = labels({(assessor, name) for assessor, name, *_ in rows})
    cohorts = _cohorts(centre)
    return [
        Row(
            assessor=names[assessor],
            rig=rig,
            task=task,
            cohort=cohorts.get(candidate, ""),
            competent=decision == Decision.COMPETENT,
        )
        for assessor, _, rig, task, candidate, decision in rows
    ]


def labels(people: Iterable[tuple[UUID, str]]) -> Mapping[UUID, str]:
    """Names to tell people by; where several have the same, with the beginning of their id."""
    people = list(people)
    often = Counter(name for _, name in people)
    return {pk: name if often[name] == 1 else f"{name} ({str(pk)[:4]})" for pk, name in people}


def _cohorts(centre: Centre) -> dict[UUID, str]:
    """The cohort that each candidate joined last."""
    rows = Membership.objects.filter(cohort__centre=centre).order_by("joined_on", "pk")
    return dict(rows.values_list("person", "cohort__name"))
