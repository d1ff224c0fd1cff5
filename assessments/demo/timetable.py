"""When things happened, counted back from the moment of loading. Nothing happens on a weekend but today."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri")
WEEK = timedelta(weeks=1)
DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class When:
    """A clock time on a day of a week counted from this one (0), or so many working days ago; or just now."""

    clock: time = time(9)
    week: int | None = None
    day: str = "Mon"
    working_days_ago: int | None = None
    today: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Timetable:
    """The days before `now`, by the clock of `zone`."""

    now: datetime
    zone: ZoneInfo

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()

    def monday(self, *, week: int) -> date:
        """The Monday of a week counted from the current one, whose number is 0."""
        return self.today - timedelta(days=self.today.weekday()) + week * WEEK

    def moment(self, on: date, clock: time) -> datetime:
        return datetime.combine(on, clock, tzinfo=self.zone)

    def at(self, when: When) -> datetime:
        if when.today:
            return self.now
        if when.working_days_ago is not None:
            return self.moment(self.working_day(ago=when.working_days_ago), when.clock)
        assert when.week is not None
        on = self.monday(week=when.week) + DAYS.index(when.day) * DAY
        return self.moment(on, when.clock)

    def working_day(self, *, ago: int) -> date:
        """The last weekday before today for 1, the one before that for 2, and so on."""
        on = self.today
        while ago:
            on -= DAY
            ago -= on.weekday() < len(DAYS)
        return on

    def weekdays(self, *, since_week: int) -> Iterator[date]:
        """Every weekday from that week's Monday to yesterday."""
        on = self.monday(week=since_week)
        while on < self.today:
            if on.weekday() < len(DAYS):
                yield on
            on += DAY
