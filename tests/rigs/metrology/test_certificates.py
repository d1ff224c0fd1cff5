import math

import numpy as np
import pytest

from rigs.metrology.certificates import Certificate, CertificatePoint, CorrectionCurve, OutsideCertificate
from rigs.metrology.conformity import Verdict
from rigs.metrology.instruments import InstrumentError, RangeSpec
from rigs.metrology.quantities import Quantity


def curve(*points: tuple[float, float, float]) -> CorrectionCurve:
    return CorrectionCurve(
        points=tuple(
            CertificatePoint(nominal=nominal, error=error, expanded=expanded)
            for nominal, error, expanded in points
        )
    )


AS_FOUND = curve((0, 0, 2), (1000, 10, 4), (2000, 0, 4))


def test_the_error_is_taken_off_a_reading() -> None:
    value, u = AS_FOUND.correct_one(reading=1000)
    assert (value, u) == (990, 2)


def test_between_points_error_and_uncertainty_are_interpolated() -> None:
    assert AS_FOUND.correct_one(reading=500) == (495, 1.5)


def test_between_points_the_uncertainty_is_no_smaller_than_at_them() -> None:
    found = AS_FOUND.correct(reading=np.linspace(1000, 2000, 11))
    assert np.all(found.u == 2)


@pytest.mark.parametrize("reading", [-0.01, 2000.01, math.nan])
def test_a_reading_outside_the_certificate_is_refused(reading: float) -> None:
    with pytest.raises(OutsideCertificate, match="covers 0 to 2000"):
        AS_FOUND.correct_one(reading=reading)


def test_a_column_marks_what_the_certificate_does_not_cover() -> None:
    found = AS_FOUND.correct(reading=[-1, 0, 500, 2001])
    assert found.covered.tolist() == [False, True, True, False]
    assert np.array_equal(found.value, [np.nan, 0, 495, np.nan], equal_nan=True)
    assert np.array_equal(np.isnan(found.u), ~found.covered)


def test_one_point_covers_itself_alone() -> None:
    found = curve((1000, 10, 4)).correct(reading=[999, 1000])
    assert found.covered.tolist() == [False, True]


@pytest.mark.parametrize(
    ("points", "message"),
    [
        ((), "at least one point"),
        (((0, 0, 1), (0, 1, 1)), "two points at 0. Leave one out"),
        (((0, 0, 1), (10, 0, 1), (5, 0, 1)), "The point at 5 is out of order"),
    ],
)
def test_points_are_in_order_and_single(points: tuple[tuple[float, float, float], ...], message: str) -> None:
    with pytest.raises(InstrumentError, match=message):
        curve(*points)


@pytest.mark.parametrize(
    ("figures", "message"),
    [
        ({"nominal": math.nan, "error": 0, "expanded": 1}, "all numbers"),
        ({"nominal": 5, "error": math.inf, "expanded": 1}, "all numbers"),
        ({"nominal": 5, "error": 0, "expanded": 0}, "At 5, U and k must be above 0"),
        ({"nominal": 5, "error": 0, "expanded": 1, "k": 0}, "At 5, U and k must be above 0"),
    ],
)
def test_a_point_that_cannot_be_is_refused(figures: dict[str, float], message: str) -> None:
    with pytest.raises(InstrumentError, match=message):
        CertificatePoint(**figures)


def test_the_standard_uncertainty_uses_the_certificate_s_own_k() -> None:
    assert CertificatePoint(nominal=5, error=0, expanded=4.3, k=2.15).u == pytest.approx(2)


def test_an_adjusted_instrument_was_worth_one_thing_before_and_another_after() -> None:
    as_left = curve((0, 0, 2), (2000, 1, 4))
    adjusted = Certificate(as_found=AS_FOUND, as_left=as_left)
    assert (adjusted.before, adjusted.after) == (AS_FOUND, as_left)
    untouched = Certificate(as_found=AS_FOUND)
    assert (untouched.before, untouched.after) == (AS_FOUND, AS_FOUND)


def test_each_point_is_judged_by_the_specification_with_its_uncertainty_allowed_for() -> None:
    spec = RangeSpec(
        quantity=Quantity.PRESSURE, unit="mbar", full_scale=20, resolution=0.01, percent_full_scale=0.5
    )  # ±10 Pa
    found = curve((0, 0, 2), (500, -7, 2), (1000, 9, 2), (1500, 13, 2), (2000, -13, 2))
    assert found.verdicts(spec=spec) == (
        Verdict.IN_RANGE,
        Verdict.IN_RANGE,
        Verdict.BORDERLINE,
        Verdict.OUT_OF_RANGE,
        Verdict.OUT_OF_RANGE,
    )
