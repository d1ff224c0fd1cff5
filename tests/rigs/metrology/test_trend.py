import math
from collections.abc import Callable

import numpy as np
import pytest
from statsmodels.api import WLS, add_constant

from rigs.metrology.samples import SampleError
from rigs.metrology.trend import Leaving, NoTrend, Trend, leaving, trend

WEEKS = np.arange(0.0, 70.0, 7.0)


def test_the_line_agrees_with_statsmodels() -> None:
    rng = np.random.default_rng(13)
    u = rng.uniform(0.5, 2.0, WEEKS.size)
    values = 10 - 0.05 * WEEKS + u * rng.normal(0, 0.2, WEEKS.size)
    theirs = WLS(values, add_constant(WEEKS), weights=1 / u**2).fit()
    found = trend(WEEKS.tolist(), values.tolist(), u=u.tolist())
    assert found.slope == pytest.approx(theirs.params[1])
    assert found.slope_u == pytest.approx(theirs.bse[1])
    assert found.p == pytest.approx(theirs.pvalues[1])
    assert found.unit_sd == pytest.approx(math.sqrt(theirs.scale))
    ahead = theirs.get_prediction(np.array([[1.0, 90.0]]), weights=1 / 1.5**2).summary_frame(alpha=0.05)
    line, one_more = found.level_at(90.0), found.prediction(90.0, u=1.5)
    assert (line.value, line.lower, line.upper) == pytest.approx(
        ahead[["mean", "mean_ci_lower", "mean_ci_upper"]].to_numpy()[0]
    )
    assert (one_more.lower, one_more.upper) == pytest.approx(
        ahead[["obs_ci_lower", "obs_ci_upper"]].to_numpy()[0]
    )


def line(*, slope: float, slope_u: float, level: float = 0.0, level_u: float = 0.1) -> Trend:
    p = 0.0 if abs(slope) > 2.3 * slope_u else 0.08
    return Trend(
        centre=100.0, level=level, slope=slope, level_u=level_u, slope_u=slope_u, unit_sd=1.0, dof=8, p=p
    )


@pytest.mark.parametrize("sign", [1, -1])
def test_the_band_holds_the_days_on_which_the_line_s_interval_holds_the_limit(sign: int) -> None:
    rising = line(slope=sign * 0.05, slope_u=0.01)
    found = leaving(rising, lower=-2.0, upper=2.0)
    assert isinstance(found, Leaving)
    assert found.limit == sign * 2.0
    assert found.at == pytest.approx(100 + 40)
    assert found.earliest is not None and found.latest is not None
    for day, end in ((found.earliest, "upper"), (found.latest, "lower")):
        interval = rising.level_at(day)
        outer = interval.upper if (end == "upper") == (sign > 0) else interval.lower
        assert outer == pytest.approx(sign * 2.0)
    assert found.earliest < found.at < found.latest


@pytest.mark.parametrize("sign", [1, -1])
def test_a_slope_that_may_be_none_leaves_the_band_open(sign: int) -> None:
    unsure = line(slope=sign * 0.02, slope_u=0.01)
    found = leaving(unsure, lower=-2.0, upper=2.0)
    assert isinstance(found, Leaving)
    assert found.latest is None
    assert found.earliest is not None and 100 < found.earliest < found.at
    interval = unsure.level_at(found.earliest)
    assert (interval.upper if sign > 0 else interval.lower) == pytest.approx(sign * 2.0)


def test_a_level_past_its_limit_left_before_a_day_gone_by() -> None:
    found = leaving(line(slope=0.02, slope_u=0.01, level=2.5), lower=-2.0, upper=2.0)
    assert isinstance(found, Leaving)
    assert found.earliest is None
    assert found.latest is not None and found.at < found.latest < 100


def test_a_level_at_its_limit_with_an_unsure_slope_tells_no_days() -> None:
    found = leaving(line(slope=0.02, slope_u=0.01, level=1.95), lower=-2.0, upper=2.0)
    assert isinstance(found, Leaving)
    assert (found.earliest, found.latest) == (None, None)


def test_a_slope_at_the_very_edge_of_sure_still_has_its_earliest_day() -> None:
    edge = line(slope=0.02, slope_u=0.01)
    t = 2.306004135033371
    for slope_u in (0.02 / t, 0.02 / t * (1 + 1e-12)):
        at_edge = line(slope=edge.slope, slope_u=slope_u)
        found = leaving(at_edge, lower=-2.0, upper=2.0)
        assert isinstance(found, Leaving)
        assert found.earliest is not None
        assert at_edge.level_at(found.earliest).upper == pytest.approx(2.0)


def test_steady_checks_show_no_trend_nine_times_in_ten() -> None:
    rng = np.random.default_rng(5)
    lines = [trend(WEEKS.tolist(), rng.normal(10, 0.1, WEEKS.size).tolist()) for _ in range(1500)]
    quiet = [isinstance(leaving(each, lower=9, upper=11), NoTrend) for each in lines]
    assert 0.88 < np.mean(quiet) < 0.92


def test_checks_that_all_read_the_same_show_no_trend() -> None:
    assert leaving(trend(WEEKS.tolist(), [10.0] * WEEKS.size), lower=9, upper=11) == NoTrend(p=1.0)


def test_a_perfect_line_leaves_on_the_day() -> None:
    found = leaving(trend(WEEKS.tolist(), (10 - 0.01 * WEEKS).tolist()), lower=9.0, upper=11.0)
    assert isinstance(found, Leaving)
    assert (found.at, found.earliest, found.latest) == pytest.approx((100.0, 100.0, 100.0), abs=1e-6)


def test_the_band_covers_the_true_day_as_stated() -> None:
    rng = np.random.default_rng(31)
    inside = []
    for _ in range(1500):
        values = 10 - 0.012 * WEEKS + rng.normal(0, 0.12, WEEKS.size)
        found = leaving(trend(WEEKS.tolist(), values.tolist()), lower=9.0, upper=11.0, alpha=0.9999)
        if isinstance(found, Leaving) and found.limit == 9.0:
            early = -math.inf if found.earliest is None else found.earliest
            late = math.inf if found.latest is None else found.latest
            inside.append(early <= 1.0 / 0.012 <= late)
    assert len(inside) > 1450
    assert 0.935 < np.mean(inside) < 0.965


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: trend([1, 2, 3, 4], [1, 2, 3, 4]), "at least 5"),
        (lambda: trend([1] * 5, [1, 2, 3, 4, 5]), "one moment"),
        (lambda: trend([1, 2, 3, 4, 5], [1, 2, 3, 4, 5, 6]), "Pair them"),
        (lambda: trend([1, 2, 3, 4, 5], [1, 2, 3, 4, math.inf]), "Number 5"),
        (lambda: trend([1, 2, 3, 4, 5], [1, 2, 3, 4, 6], u=[1, 1, 0, 1, 1]), "outweigh"),
        (lambda: leaving(line(slope=1, slope_u=0.1), lower=2, upper=2), "no width"),
        (lambda: leaving(line(slope=1, slope_u=0.1), lower=math.nan, upper=2), "lower limit"),
        (lambda: leaving(line(slope=1, slope_u=0.1), lower=0, upper=2, alpha=5), "between 0 and 1"),
        (lambda: line(slope=1, slope_u=0.1).prediction(3.0, u=0.0), "value to come"),
    ],
)
def test_what_cannot_be_is_refused_with_what_to_do(call: Callable[[], object], message: str) -> None:
    with pytest.raises(SampleError, match=message):
        call()
