"""What the demo's rigs and instruments are really like on a day. Only readings carry it out of here."""

import zlib
from dataclasses import dataclass, replace
from datetime import date, datetime

import numpy as np

from assessments.demo.scenario import InstrumentPlan, RigPlan, Scenario
from assessments.demo.timetable import DAY, DAYS, Timetable
from rigs.behaviour.simulation import Manometer, Multimeter
from rigs.behaviour.venturi import VenturiRig
from rigs.metrology.environment import REFERENCE_DENSITY, air_density
from rigs.rooms import Room

FIRST_WEEK = -9
DAYS_A_WEEK = 7
LONGEST = 500  # days of wandering: a demo kept for longer stands still


@dataclass(frozen=True, slots=True, kw_only=True)
class Boards:
    """Truth for a scenario, counted from the demo's first week, so that the same day gives the same truth."""

    scenario: Scenario
    timetable: Timetable

    def chance(self, *labels: object) -> np.random.Generator:
        """Chance of its own for a thing with that label: what happens elsewhere doesn't move it."""
        return np.random.default_rng(
            [self.scenario.seed, *(zlib.crc32(str(label).encode()) for label in labels)]
        )

    def rig(self, plan: RigPlan, *, at: datetime, half: str) -> VenturiRig:
        """The rig as it is in one session: with what ails it, wandered off, in its air, and the session."""
        model = self.ailing(plan, at=at)
        day = self.day(at)
        wander = self.chance("walk", plan.tag).normal(
            0.0, self.scenario.walk_percent_a_week / 100 / DAYS_A_WEEK**0.5, size=LONGEST
        )
        share = 1 + wander[:day].sum()
        air = air_density(self.room(at=at, half=half).air).value / REFERENCE_DENSITY
        worn = model.at_speed(density=float(share) * air)
        return worn.in_session(rng=self.chance("session", plan.tag, day, half))

    def room(self, *, at: datetime, half: str) -> Room:
        """The room as it was read in one session."""
        chance = self.chance("room", self.day(at), half)
        return Room(
            celsius=round(chance.uniform(17.5, 22.5), 1),
            pressure=round(chance.uniform(99_600, 102_400), -1),
            humidity=round(chance.uniform(0.38, 0.62), 2),
        )

    def ailing(self, plan: RigPlan, *, at: datetime) -> VenturiRig:
        """The rig with what befell it in the weeks before."""
        assert plan.model is not None
        rig, on = plan.model, at.astimezone(self.timetable.zone).date()
        if plan.blocking is not None:
            since = self.timetable.monday(week=plan.blocking.week)
            lost = plan.blocking.percent_a_week / 100 * days_since(since, on) / DAYS_A_WEEK
            rig = rig.restricted(left=1 - lost)
        if plan.slowing is not None:
            first = self.timetable.monday(week=plan.slowing.week) + DAYS.index(plan.slowing.day) * DAY
            rig = rig.at_speed(speed=plan.slowing.speed if on >= first else 1.0)
        return rig

    def manometer(self, plan: InstrumentPlan, *, at: datetime) -> Manometer:
        (line,) = plan.model.ranges
        return Manometer(
            unit=line.unit,
            resolution=line.resolution,
            full_scale=line.full_scale,
            gain=1 - plan.loses_percent_a_week / 100 * self.day(at) / DAYS_A_WEEK,
        )

    def multimeter(self, plan: InstrumentPlan) -> Multimeter:
        finest = plan.model.ranges[0]
        return Multimeter(resolution=finest.resolution, full_scale=finest.full_scale, leads=plan.leads)

    def nulled(self, plan: InstrumentPlan) -> Multimeter:
        """The meter with its leads nulled, as for baselines and checks."""
        return replace(self.multimeter(plan), leads=0.0)

    def day(self, at: datetime) -> int:
        """Days since the demo's first Monday."""
        on = at.astimezone(self.timetable.zone).date()
        return days_since(self.timetable.monday(week=FIRST_WEEK), on)


def days_since(start: date, on: date) -> int:
    """So many days later; none before it starts."""
    return max(0, (on - start).days)
