"""How far cohorts have come week by week: one small chart each, all on the same scale, with its figures."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from uuid import UUID

from academy.models import Cohort
from assessments.cohort_records import Member, Records
from rigs.drawings import Frame, Mark, Panel, Path, Tick, worded

WEEK = timedelta(days=7)
QUARTERS = (0.0, 25.0, 50.0, 75.0, 100.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """``done`` tasks of all candidates together until that day, and ``percent`` of those planned."""

    on: date
    done: int
    percent: float
    even: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CohortWeeks:
    """``planned`` is candidates × tasks. A week's ``even`` is what a steady pace reaches."""

    cohort: Cohort
    planned: int
    weeks: tuple[Week, ...]
    panel: Panel

    @property
    def latest(self) -> Week:
        return self.weeks[-1]


def weeks_of(found: Records, cohorts: Iterable[Cohort]) -> tuple[CohortWeeks, ...]:
    """Those of the cohorts in which something is planned for somebody. No queries."""
    members: dict[UUID, list[Member]] = defaultdict(list)
    for member in found.members:
        members[member.cohort.pk].append(member)
    drawn = [_weeks(found, cohort, members[cohort.pk]) for cohort in cohorts]
    return tuple(each for each in drawn if each is not None)


def _weeks(found: Records, cohort: Cohort, members: list[Member]) -> CohortWeeks | None:
    planned = sum(len(member.tasks) for member in members)
    if not planned or cohort.starts_on > found.on:
        return None
    achieved = sorted(_achieved(found, members))
    length = max((cohort.ends_on - cohort.starts_on).days, 1)
    until = min(found.on, cohort.ends_on)
    days = [cohort.starts_on + WEEK * number for number in range((until - cohort.starts_on).days // 7 + 1)]
    weeks = []
    for on in [*days, *([until] if days[-1] != until else [])]:
        done = bisect_right(achieved, on)
        even = 100 * min((on - cohort.starts_on).days / length, 1.0)
        weeks.append(Week(on=on, done=done, percent=100 * done / planned, even=even))
    return CohortWeeks(
        cohort=cohort,
        planned=planned,
        weeks=tuple(weeks),
        panel=_panel(cohort, weeks, planned, zone=found.centre.zone),
    )


def _achieved(found: Records, members: Iterable[Member]) -> Iterable[date]:
    """The day on which each member was first found competent in each of their tasks, here or before."""
    for member in members:
        for task in member.tasks:
            pair = member.person.pk, task.pk
            days = [
                found.centre.date_at(each.decided.at)
                for each in found.counted(*pair)
                if each.decided and each.decided.counts and each.decided.competent
            ]
            days += [found.priors[pair]] if pair in found.priors else []
            if days:
                yield min(days)


def _panel(cohort: Cohort, weeks: list[Week], planned: int, *, zone: tzinfo) -> Panel:
    def noon(on: date) -> datetime:
        return datetime.combine(on, time(12), tzinfo=zone)

    end = max(cohort.ends_on, cohort.starts_on + WEEK)
    frame = Frame(start=noon(cohort.starts_on), end=noon(end), low=0.0, high=100.0)
    last = weeks[-1]
    return Panel(
        title=cohort.name,
        unit="% of the planned tasks",
        description=f"{last.done} of {planned} tasks are done; a steady pace would be at {last.even:.0f} %.",
        x_ticks=frame.x_ticks(zone),
        y_ticks=tuple(Tick(at=frame.y(each), label=f"{each:.0f}") for each in QUARTERS),
        lines=worded(frame, [("centre", 100.0, "all")]),
        bands=(),
        paths=(
            Path(kind="pace", corners=frame.corners([(noon(cohort.starts_on), 0.0), (noon(end), 100.0)])),
            Path(kind="trend", corners=frame.corners([(noon(week.on), week.percent) for week in weeks])),
        ),
        marks=(
            Mark(
                x=frame.x(noon(last.on)),
                y=frame.y(last.percent),
                kind="in",
                words=f"{last.on:%-d %B}: {last.done} of {planned}",
            ),
        ),
    )
