"""An instrument's error over the time in doubt. The arithmetic is worked by hand beside each case."""

from datetime import UTC, datetime, timedelta
from math import isnan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.doubt import Course, Doubt, curve_as_found
from rigs.metrology.instruments import InstrumentError
from rigs.metrology.quantities import Quantity

SINCE = datetime(2025, 1, 1, tzinfo=UTC)
UNTIL = SINCE + timedelta(days=90)
# In Pa: a manometer that shows 46, 93, 139 and 185 Pa of 50, 100, 150 and 200 Pa.
FOUND = {50.0: -4.0, 100.0: -7.0, 150.0: -11.0, 200.0: -15.0}


def doubt(*, event: datetime | None = None, until: datetime = UNTIL) -> Doubt:
    return Doubt(curves={Quantity.PRESSURE: curve_as_found(FOUND)}, since=SINCE, until=until, event=event)


def errors(reading: float, *, day: float, corrected_by: float = 0.0, event: datetime | None = None):
    found = doubt(event=event).errors(
        quantity=Quantity.PRESSURE,
        reading=reading,
        at=SINCE + timedelta(days=day),
        corrected_by=corrected_by,
    )
    return found.tolist()


@pytest.mark.parametrize(
    ("reading", "error"),
    [
        (150.0, -11.0),  # at a point
        (125.0, -9.0),  # halfway between two: (−7 − 11)/2
        (139.0, -10.12),  # −7 + (139 − 100)/50 · (−4)
        (25.0, -2.0),  # halfway from zero, where it is right, to the lowest point
        (0.0, 0.0),
        (-125.0, 9.0),  # the other way round
    ],
)
def test_between_the_points_the_error_lies_on_straight_lines(reading, error):
    full, growing = errors(reading, day=90)
    assert full == pytest.approx(error)
    assert growing == pytest.approx(error)


@pytest.mark.parametrize(("day", "share"), [(0, 0.0), (30, 1 / 3), (45, 0.5), (90, 1.0)])
def test_it_grows_in_proportion_to_time_and_is_there_in_full_throughout(day, share):
    assert errors(150.0, day=day) == pytest.approx([-11.0, -11.0 * share])


@pytest.mark.parametrize("day", [-1, 91])
def test_outside_the_time_in_doubt_there_is_none(day):
    assert errors(150.0, day=day) == [0.0, 0.0]


def test_with_an_event_it_is_there_at_once_from_then_on():
    event = SINCE + timedelta(days=60)
    assert doubt(event=event).courses == tuple(Course)
    assert errors(150.0, day=59, event=event)[2] == 0.0
    assert errors(150.0, day=60, event=event)[2] == -11.0


def test_beyond_the_points_and_for_another_quantity_it_is_unknown():
    assert all(map(isnan, errors(201.0, day=45)))
    other = doubt().errors(quantity=Quantity.RESISTANCE, reading=1.0, at=SINCE + timedelta(days=45))
    assert all(map(isnan, other))


def test_what_a_certificate_had_taken_off_already_counts():
    # As left it was 1 Pa low, so 1 Pa was added: of the 11 Pa found, 10 are left.
    assert errors(150.0, day=90, corrected_by=1.0) == pytest.approx([-10.0, -10.0])


def test_points_on_both_sides_of_zero_are_taken_as_they_are():
    curve = curve_as_found({-100.0: 3.0, 100.0: 5.0})
    assert float(curve.correct(reading=0.0).error) == pytest.approx(4.0)


def test_evidence_after_the_finding_and_an_event_outside_are_refused():
    with pytest.raises(InstrumentError, match="before the finding"):
        doubt(until=SINCE)
    with pytest.raises(InstrumentError, match="lies between"):
        doubt(event=UNTIL + timedelta(days=1))


@given(day=st.floats(0, 90), reading=st.floats(-200, 200))
def test_growth_never_goes_beyond_the_error_in_full(day, reading):
    full, growing = errors(reading, day=day)
    assert abs(growing) <= abs(full) + 1e-12
