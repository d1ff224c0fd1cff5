"""An instrument comes back from the laboratory with a finding, and a review of what it did is opened."""

from datetime import timedelta

from assessments.demo.playing import Story
from assessments.demo.scenario import FoundOutPlan
from assessments.demo.stories import World
from assessments.impact import opening
from rigs import calibrations
from rigs.calibrations import PointLine
from rigs.metrology.quantities import Quantity

TO_OPEN = timedelta(minutes=20)


def found_out(world: World, plan: FoundOutPlan) -> Story:
    """The certificate is recorded the day after it was made; the review waits to be worked through."""
    at = world.timetable.at(plan.when)
    yield at
    instrument = world.stock.instruments[plan.on]
    calibrated_on = world.stock.centre.date_at(at) - timedelta(days=1)
    calibration = calibrations.record(
        instrument=instrument,
        certificate=plan.number,
        laboratory=world.scenario.laboratory,
        calibrated_on=calibrated_on,
        due_on=calibrated_on + timedelta(days=plan.days_good),
        points=_points(world, plan),
        as_found_in_tolerance=False,
        by=world.technician,
        at=at,
    )
    at += TO_OPEN
    yield at
    opening.open_for_certificate(calibration=calibration, by=world.technician, at=at)


def _points(world: World, plan: FoundOutPlan) -> list[PointLine]:
    line = world.scenario.instrument(plan.on).model.ranges[0]
    return [
        PointLine(
            quantity=Quantity(line.quantity),
            unit=line.unit,
            nominal=nominal,
            as_found_error=error,
            as_left_error=0.0,
            expanded_u=max(line.resolution, 0.002 * nominal),
        )
        for nominal, error in plan.as_found
    ]
