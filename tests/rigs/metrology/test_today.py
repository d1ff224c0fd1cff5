"""Today's value against three independent answers: conditioning a joint normal, statsmodels, simulation."""

import math
from collections.abc import Hashable, Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t as student
from statsmodels.datasets import nile
from statsmodels.tsa.statespace.structural import UnobservedComponents

from rigs.metrology.level_fit import History, fit_levels, level_intervals
from rigs.metrology.local_level import log_likelihood
from rigs.metrology.samples import SampleError
from rigs.metrology.today import (
    BaselineLevel,
    CheckMean,
    LevelModel,
    PresentValue,
    present_value,
    smoothed_values,
)

MODEL = LevelModel(drift_sd=0.3, session_sd=0.4, repeat_sd=0.25, repeat_dof=9)
BASELINE = BaselineLevel(mean=10.0, n=10, days=3, at=2.0)
# Two checks open session "b", one before and one after the bench was moved.
CHECKS = (
    CheckMean(at=9.0, mean=10.4, n=3, session="a"),
    CheckMean(at=16.0, mean=9.7, n=3, session="b"),
    CheckMean(at=16.2, mean=9.9, n=5, session="b"),
    CheckMean(at=23.0, mean=9.1, n=4, session="c"),
)


def conditioned(
    model: LevelModel,
    *,
    baseline: BaselineLevel,
    checks: Sequence[CheckMean],
    at: float,
    session: Hashable | None,
    air_u: float = 0.0,
) -> tuple[float, float, float]:
    """Value, variance without repeat noise, repeat share: from the joint covariance, the first level flat.

    Differences from the baseline don't depend on the first level, so a flat prior is exact: the weights sum
    to one, the rest is a small normal regression.
    """
    times = np.array([baseline.at, *(check.at for check in checks), at]) - baseline.at
    sessions = [object(), *(check.session for check in checks), object() if session is None else session]
    drift, effect, repeat = model.variances
    same = np.array([[float(a == b) for b in sessions] for a in sessions])
    same[0, 0] = 1 / baseline.days
    noise = np.array([1 / baseline.n, *(1 / check.n for check in checks)])
    air = np.diag([baseline.air_u, *(check.air_u for check in checks), air_u])
    signal = drift * np.minimum.outer(times, times) + effect * same + air @ (same != 0) @ air
    covariance = signal[:-1, :-1] + repeat * np.diag(noise)
    size = len(noise)
    bordered = np.block([[covariance, np.ones((size, 1))], [np.ones((1, size)), np.zeros((1, 1))]])
    weights = np.linalg.solve(bordered, np.append(signal[:-1, -1], 1.0))[:size]
    signed = np.append(weights, -1.0)
    means = np.array([baseline.mean, *(check.mean for check in checks)])
    return float(weights @ means), float(signed @ signal @ signed), float(weights**2 @ noise)


def as_tuple(found: PresentValue) -> tuple[float, float, float]:
    return found.value, found.u**2, found.repeat_share


@pytest.mark.parametrize("drift_sd", [0.0, 0.3])
@pytest.mark.parametrize("session_sd", [0.0, 0.4])
@pytest.mark.parametrize(("at", "session"), [(23.1, "c"), (23.1, None), (30.0, "d"), (30.0, None)])
def test_present_value_is_the_joint_normal_given_the_checks(
    drift_sd: float, session_sd: float, at: float, session: str | None
) -> None:
    model = LevelModel(drift_sd=drift_sd, session_sd=session_sd, repeat_sd=0.25, repeat_dof=9)
    found = present_value(model, baseline=BASELINE, checks=CHECKS, at=at, session=session)
    expected = conditioned(model, baseline=BASELINE, checks=CHECKS, at=at, session=session)
    assert as_tuple(found) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("drift_sd", [0.0, 0.3])
@pytest.mark.parametrize("session_sd", [0.0, 0.4])
def test_smoothed_values_are_the_joint_normal_given_all_checks(drift_sd: float, session_sd: float) -> None:
    model = LevelModel(drift_sd=drift_sd, session_sd=session_sd, repeat_sd=0.25, repeat_dof=9)
    moments = ((2.0, None), (9.1, "a"), (12.0, "x"), (16.1, "b"), (16.1, None), (20.0, None), (40.0, "y"))
    found = smoothed_values(
        model,
        baseline=BASELINE,
        checks=CHECKS,
        at=[at for at, _ in moments],
        sessions=[session for _, session in moments],
    )
    for answer, (at, session) in zip(found, moments, strict=True):
        expected = conditioned(model, baseline=BASELINE, checks=CHECKS, at=at, session=session)
        assert as_tuple(answer) == pytest.approx(expected, rel=1e-8, abs=1e-12)


checks_anywhere = st.lists(
    st.tuples(
        st.floats(min_value=2.0, max_value=60.0), st.floats(min_value=8.0, max_value=12.0), st.integers(1, 6)
    ),
    max_size=6,
)


@given(rows=checks_anywhere, drift_sd=st.floats(0.0, 2.0), session_sd=st.floats(0.0, 2.0))
def test_any_history_agrees_with_the_joint_normal_in_any_order(
    rows: list[tuple[float, float, int]], drift_sd: float, session_sd: float
) -> None:
    model = LevelModel(drift_sd=drift_sd, session_sd=session_sd, repeat_sd=0.25, repeat_dof=9)
    checks = [CheckMean(at=at, mean=mean, n=n, session=index) for index, (at, mean, n) in enumerate(rows)]
    found = present_value(model, baseline=BASELINE, checks=checks, at=61.0)
    expected = conditioned(model, baseline=BASELINE, checks=checks, at=61.0, session=None)
    assert as_tuple(found) == pytest.approx(expected, rel=1e-6, abs=1e-9)
    backwards = present_value(model, baseline=BASELINE, checks=checks[::-1], at=61.0)
    assert as_tuple(backwards) == pytest.approx(as_tuple(found), rel=1e-9)


def nile_series() -> tuple[BaselineLevel, list[CheckMean]]:
    """The yearly flow of the Nile, 1871–1970, its first year as the baseline."""
    first, *rest = nile.load_pandas().data["volume"].to_list()
    checks = [
        CheckMean(at=float(year), mean=flow, n=1, session=year) for year, flow in enumerate(rest, start=1)
    ]
    return BaselineLevel(mean=first, n=1, days=1, at=0.0), checks


# Durbin & Koopman, 2nd ed., 2.2.5: maximum likelihood on the Nile gives σ²ε = 15099 and σ²η = 1469.1.
NILE = LevelModel(drift_sd=math.sqrt(1469.1), session_sd=0.0, repeat_sd=math.sqrt(15099), repeat_dof=99)


def statsmodels_nile() -> UnobservedComponents:
    flows = nile.load_pandas().data["volume"].to_numpy()
    model = UnobservedComponents(flows, "llevel", use_exact_diffuse=True, loglikelihood_burn=0)
    return model.smooth([15099, 1469.1])


def test_the_filter_follows_statsmodels_on_the_nile_step_by_step() -> None:
    baseline, checks = nile_series()
    theirs = statsmodels_nile()
    for year in range(1, 100):
        found = present_value(NILE, baseline=baseline, checks=checks[:year], at=float(year))
        assert found.value == pytest.approx(theirs.filtered_state[0, year], rel=1e-9)
        assert found.total_u**2 == pytest.approx(theirs.filtered_state_cov[0, 0, year], rel=1e-9)


def test_the_smoother_follows_statsmodels_on_the_nile() -> None:
    baseline, checks = nile_series()
    theirs = statsmodels_nile()
    found = smoothed_values(NILE, baseline=baseline, checks=checks, at=range(100))
    assert [one.value for one in found] == pytest.approx(theirs.smoothed_state[0], rel=1e-9)
    assert [one.total_u**2 for one in found] == pytest.approx(theirs.smoothed_state_cov[0, 0], rel=1e-9)


def test_the_nile_settles_at_the_variance_that_the_formula_gives() -> None:
    """Durbin & Koopman 2.11: the steady state solves x² − xq − q = 0 with x = P/σ²ε, q = σ²η/σ²ε."""
    baseline, checks = nile_series()
    found = present_value(NILE, baseline=baseline, checks=checks, at=100.0)
    q = 1469.1 / 15099
    assert found.total_u**2 == pytest.approx(15099 * (q + math.sqrt(q * q + 4 * q)) / 2, rel=1e-9)


def test_the_nile_s_log_likelihood_is_the_published_one() -> None:
    """−632.54, from memory of Durbin & Koopman 2.10.2. Statsmodels counts the first year too."""
    baseline, checks = nile_series()
    found = log_likelihood(NILE, baseline=baseline, checks=checks)
    assert found == pytest.approx(-632.54, abs=0.01)
    assert found == pytest.approx(statsmodels_nile().llf + 0.5 * math.log(2 * math.pi), abs=1e-6)


def test_fitting_the_nile_finds_the_published_variances_again() -> None:
    """15099 is noise of the single year: split into 5099 known beforehand and 10000 of the year's own."""
    baseline, checks = nile_series()
    fit = fit_levels([History(baseline=baseline, checks=tuple(checks), repeat_sd=math.sqrt(5099))])
    assert fit.drift_sd**2 == pytest.approx(1469.1, rel=0.01)
    assert fit.session_sd**2 == pytest.approx(10000, rel=0.01)
    assert fit.undetected == ()


def simulated(
    rng: np.random.Generator, *, weeks: int, repeats: int = 3
) -> tuple[BaselineLevel, list[CheckMean], float, float]:
    """A rig after ``weeks`` checks, its level then, and the pooled repeat sd as its readings give it."""
    drift_sd, session_sd, repeat_sd = 0.02, 0.03, 0.05
    level = 1.65
    days = np.repeat([0, 1, 2], [4, 3, 3])
    effects = rng.normal(0, session_sd, 3)
    readings = level + effects[days] + rng.normal(0, repeat_sd, 10)
    squares = sum(
        float(np.sum((readings[days == day] - readings[days == day].mean()) ** 2)) for day in range(3)
    )
    baseline = BaselineLevel(mean=float(readings.mean()), n=10, days=3, at=0.0)
    checks = []
    for week in range(weeks):
        level += rng.normal(0, drift_sd * math.sqrt(7))
        effect = rng.normal(0, session_sd)
        taken = level + effect + rng.normal(0, repeat_sd, repeats)
        squares += float(np.sum((taken - taken.mean()) ** 2))
        checks.append(CheckMean(at=7.0 * (week + 1), mean=float(taken.mean()), n=repeats, session=week))
    return baseline, checks, level + effect, math.sqrt(squares / (7 + weeks * (repeats - 1)))


def covered(found: PresentValue, reading: float, dof: float) -> bool:
    """Whether a reading lies within t(95.45 %, ν) of the value; ν by Welch–Satterthwaite over both shares."""
    repeat = found.repeat_sd**2 * (1 + found.repeat_share)
    variance = repeat + found.u**2
    freedom = variance**2 / (repeat**2 / dof + found.u**4 / found.dof)
    return abs(reading - found.value) <= student.ppf(0.97725, freedom) * math.sqrt(variance)


@pytest.mark.parametrize("weeks", [1, 8])
def test_the_stated_share_of_good_readings_lies_within_todays_range(weeks: int) -> None:
    rng = np.random.default_rng(20240501)
    today = by_baseline = 0
    runs = 4000
    for _ in range(runs):
        baseline, checks, true, repeat_sd = simulated(rng, weeks=weeks)
        dof = 7 + 2 * weeks
        model = LevelModel(drift_sd=0.02, session_sd=0.03, repeat_sd=repeat_sd, repeat_dof=dof)
        reading = true + rng.normal(0, 0.05)
        at = 7.0 * weeks
        today += covered(
            present_value(model, baseline=baseline, checks=checks, at=at, session=weeks - 1), reading, dof
        )
        by_baseline += covered(present_value(model, baseline=baseline, checks=[], at=0.0), reading, dof)
    assert 0.945 <= today / runs <= 0.965
    assert by_baseline / runs < today / runs - 0.02


def test_fitted_variances_cover_what_they_state() -> None:
    """Several rigs' histories give drift and session effect; the next session of each is then judged."""
    rng = np.random.default_rng(7)
    inside = []
    for _ in range(15):
        rigs = [simulated(rng, weeks=20) for _ in range(6)]
        fit = fit_levels([History(baseline=b, checks=tuple(c), repeat_sd=s) for b, c, _, s in rigs])
        for baseline, checks, true, repeat_sd in rigs:
            model = fit.model(repeat_sd=repeat_sd, repeat_dof=47, set_drift=0.02, set_session=0.03)
            found = present_value(model, baseline=baseline, checks=checks, at=140.0, session=19)
            inside += [covered(found, true + rng.normal(0, 0.05), 47) for _ in range(20)]
    assert 0.935 <= np.mean(inside) <= 0.975


def test_fit_recovers_the_variances_that_made_the_histories() -> None:
    rng = np.random.default_rng(11)
    rigs = [simulated(rng, weeks=80) for _ in range(8)]
    fit = fit_levels([History(baseline=b, checks=tuple(c), repeat_sd=s) for b, c, _, s in rigs])
    assert fit.drift_sd == pytest.approx(0.02, rel=0.15)
    assert fit.session_sd == pytest.approx(0.03, rel=0.35)
    assert 60 < fit.drift_dof < 400
    assert fit.checks == 640


def test_drift_that_cannot_be_told_from_zero_leaves_the_centres_value() -> None:
    rng = np.random.default_rng(5)
    means = rng.normal(10.0, 0.5, 20)
    checks = tuple(CheckMean(at=7.0 * i, mean=m, n=3, session=i) for i, m in enumerate(means, start=1))
    fit = fit_levels(
        [History(baseline=BaselineLevel(mean=10, n=10, days=3, at=0), checks=checks, repeat_sd=0.1)]
    )
    assert fit.undetected == ("drift",)
    model = fit.model(repeat_sd=0.1, repeat_dof=9, set_drift=0.02, set_session=0.3)
    assert model.drift_sd == 0.02
    assert model.session_sd == fit.session_sd > 0.2


def test_uncertainty_grows_with_every_day_since_the_last_check() -> None:
    found = [
        present_value(MODEL, baseline=BASELINE, checks=CHECKS, at=at).u for at in (23.0, 24.0, 30.0, 60.0)
    ]
    assert found == sorted(found)
    assert found[-1] ** 2 - found[0] ** 2 == pytest.approx(0.3**2 * 37)


def test_a_check_in_the_session_narrows_its_value() -> None:
    known = present_value(MODEL, baseline=BASELINE, checks=CHECKS, at=23.0, session="c")
    fresh = present_value(MODEL, baseline=BASELINE, checks=CHECKS, at=23.0, session="d")
    assert known.total_u < fresh.total_u


def test_without_drift_or_session_effect_all_readings_are_pooled() -> None:
    steady = LevelModel(drift_sd=0.0, session_sd=0.0, repeat_sd=0.25, repeat_dof=9)
    found = present_value(steady, baseline=BASELINE, checks=CHECKS, at=50.0)
    total = 10 * 10.0 + 3 * 10.4 + 3 * 9.7 + 5 * 9.9 + 4 * 9.1
    assert found.value == pytest.approx(total / 25)
    assert found.u == pytest.approx(0.0, abs=1e-12)
    assert found.repeat_share == pytest.approx(1 / 25)


def test_the_reference_instrument_is_added_once_outside_the_filter() -> None:
    bare = present_value(MODEL, baseline=BASELINE, checks=CHECKS, at=30.0)
    found = present_value(MODEL, baseline=BASELINE, checks=CHECKS, at=30.0, reference_u=0.2)
    assert found.u == pytest.approx(math.hypot(bare.u, 0.2))
    assert found.value == bare.value


def test_degrees_of_freedom_follow_the_parts_that_were_estimated() -> None:
    told = LevelModel(
        drift_sd=0.3, session_sd=0.4, repeat_sd=0.25, repeat_dof=9, drift_dof=12, session_dof=30
    )
    assert present_value(MODEL, baseline=BASELINE, checks=CHECKS, at=30.0).dof == math.inf
    alone = present_value(told, baseline=BASELINE, checks=CHECKS, at=30.0)
    diluted = present_value(told, baseline=BASELINE, checks=CHECKS, at=30.0, reference_u=1.0)
    assert 12 < alone.dof < diluted.dof < math.inf
    far = present_value(told, baseline=BASELINE, checks=CHECKS, at=5000.0)
    assert far.dof == pytest.approx(12, rel=0.01)


def test_no_checks_means_the_baseline_with_a_fresh_session() -> None:
    found = present_value(MODEL, baseline=BASELINE, checks=[], at=2.0)
    assert found.value == 10.0
    assert found.u**2 == pytest.approx(0.4**2 / 3 + 0.4**2)
    assert found.repeat_share == pytest.approx(0.1)


IN_AIR = (
    BaselineLevel(mean=10.0, n=10, days=3, at=2.0, air_u=0.2),
    [
        CheckMean(at=9.0, mean=10.4, n=3, session="a", air_u=0.1),
        CheckMean(at=16.0, mean=9.7, n=3, session="b", air_u=0.7),
        CheckMean(at=16.2, mean=9.9, n=5, session="b", air_u=0.7),
        CheckMean(at=23.0, mean=9.1, n=4, session="c", air_u=0.1),
    ],
)


@pytest.mark.parametrize(("session", "air_u"), [("c", 0.1), (None, 0.0), ("d", 0.3), (None, 0.3)])
@pytest.mark.parametrize("session_sd", [0.0, 0.4])
def test_each_sessions_air_is_an_effect_of_its_own(
    session: str | None, air_u: float, session_sd: float
) -> None:
    baseline, checks = IN_AIR
    model = LevelModel(drift_sd=0.3, session_sd=session_sd, repeat_sd=0.25, repeat_dof=9)
    asked = {"baseline": baseline, "checks": checks, "at": 24.0, "session": session, "air_u": air_u}
    assert as_tuple(present_value(model, **asked)) == pytest.approx(conditioned(model, **asked))


def test_air_that_is_not_known_makes_a_check_count_for_less() -> None:
    checks = [CheckMean(at=9.0, mean=11.0, n=3, session="a", air_u=air_u) for air_u in (0.0, 1.0)]
    known, unknown = (present_value(MODEL, baseline=BASELINE, checks=[check], at=20.0) for check in checks)
    assert BASELINE.mean < unknown.value < known.value
    assert unknown.total_u > known.total_u
    # A candidate in the same session reads in the same air.
    same = [present_value(MODEL, baseline=BASELINE, checks=[each], at=9.1, session="a") for each in checks]
    assert same[1].value > same[0].value


def test_columns_of_rigs_come_out_as_each_rig_by_itself() -> None:
    means, spreads = np.array([9.8, 10.1, 10.6]), np.array([0.2, 0.25, 0.4])
    checks = [
        CheckMean(at=each.at, mean=each.mean + means / 10, n=3, session=each.session) for each in CHECKS
    ]
    model = LevelModel(drift_sd=0.3, session_sd=0.4, repeat_sd=spreads, repeat_dof=9)
    together = present_value(
        model, baseline=BaselineLevel(mean=means, n=10, days=3, at=2.0), checks=checks, at=30.0, session="d"
    )
    for row in range(3):
        alone = present_value(
            LevelModel(drift_sd=0.3, session_sd=0.4, repeat_sd=spreads[row], repeat_dof=9),
            baseline=BaselineLevel(mean=means[row], n=10, days=3, at=2.0),
            checks=[CheckMean(at=each.at, mean=each.mean[row], n=3, session=each.session) for each in checks],
            at=30.0,
            session="d",
        )
        assert (alone.value, alone.u, alone.repeat_share) == pytest.approx(
            (together.value[row], together.u[row], together.repeat_share[row])
        )


def test_profile_intervals_hold_what_made_the_histories_about_as_often_as_stated() -> None:
    rng = np.random.default_rng(23)
    held = []
    for _ in range(40):
        rigs = [simulated(rng, weeks=12) for _ in range(4)]
        found = level_intervals([History(baseline=b, checks=tuple(c), repeat_sd=s) for b, c, _, s in rigs])
        held += [found.drift.lower <= 0.02 <= found.drift.upper]
        held += [found.session.lower <= 0.03 <= found.session.upper]
    assert 0.90 <= np.mean(held) <= 1.0


def test_a_profile_interval_ends_where_the_likelihood_has_fallen_by_two() -> None:
    """At 95.45 % χ²₁ is 4, so ℓ has fallen by 2: checked by maximising over the other by brute force."""
    rng = np.random.default_rng(29)
    rigs = [simulated(rng, weeks=30) for _ in range(4)]
    histories = [History(baseline=b, checks=tuple(c), repeat_sd=s) for b, c, _, s in rigs]
    fit, found = fit_levels(histories), level_intervals(histories)
    others = np.linspace(0.0, 0.12, 600)

    def profile(drift_sd: float) -> float:
        return float(np.max(sum(likelihood(each, drift_sd, others) for each in histories)))

    best = float(sum(likelihood(each, fit.drift_sd, np.array(fit.session_sd)) for each in histories))
    for end in (found.drift.lower, found.drift.upper):
        assert best - profile(end) == pytest.approx(2.0, abs=0.1)
    assert found.drift.lower < fit.drift_sd < found.drift.upper


def likelihood(history: History, drift_sd: float, session_sd: np.ndarray) -> np.ndarray:
    model = LevelModel(
        drift_sd=drift_sd, session_sd=session_sd, repeat_sd=history.repeat_sd, repeat_dof=math.inf
    )
    return log_likelihood(model, baseline=history.baseline, checks=history.checks)


def test_what_cannot_be_told_from_zero_has_an_interval_from_zero() -> None:
    rng = np.random.default_rng(5)
    means = rng.normal(10.0, 0.5, 20)
    checks = tuple(CheckMean(at=7.0 * i, mean=m, n=3, session=i) for i, m in enumerate(means, start=1))
    found = level_intervals(
        [History(baseline=BaselineLevel(mean=10, n=10, days=3, at=0), checks=checks, repeat_sd=0.1)]
    )
    assert found.drift.lower == 0.0 < found.drift.upper < 0.5
    assert found.session.lower > 0.2


@pytest.mark.parametrize("session", [0, ""])
def test_a_session_may_have_any_name(session: Hashable) -> None:
    checks = [CheckMean(at=3.0, mean=10.4, n=3, session=session)]
    found = present_value(MODEL, baseline=BASELINE, checks=checks, at=3.5, session=session)
    expected = conditioned(MODEL, baseline=BASELINE, checks=checks, at=3.5, session=session)
    assert as_tuple(found) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("broken", "message"),
    [
        ({"checks": [CheckMean(at=1.0, mean=1.0, n=3, session="a")]}, "before the baseline"),
        ({"at": 22.0}, "after the moment asked about"),
        ({"at": math.nan}, "Give a number"),
        ({"session": "a"}, "made way for another"),
        ({"reference_u": -0.1}, "zero or more"),
        ({"reference_u": math.inf}, "Give a number"),
    ],
)
def test_a_history_that_cannot_be_is_refused_with_what_to_do(broken: dict[str, object], message: str) -> None:
    good: dict[str, object] = {"baseline": BASELINE, "checks": CHECKS, "at": 30.0}
    with pytest.raises(SampleError, match=message):
        present_value(MODEL, **(good | broken))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("broken", "message"),
    [
        ({"repeat_sd": 0.0}, "resolution"),
        ({"repeat_sd": math.nan}, "Give a number"),
        ({"drift_sd": -1.0}, "zero or more"),
        ({"session_sd": math.inf}, "Give a number"),
        ({"repeat_dof": 0}, "degrees of freedom"),
        ({"drift_dof": math.nan}, "degrees of freedom"),
    ],
)
def test_a_model_that_cannot_be_is_refused(broken: dict[str, float], message: str) -> None:
    good = {"drift_sd": 0.1, "session_sd": 0.1, "repeat_sd": 0.1, "repeat_dof": 9}
    with pytest.raises(SampleError, match=message):
        LevelModel(**(good | broken))


def test_counts_and_sessions_that_cannot_be_are_refused() -> None:
    with pytest.raises(SampleError, match="Count both again"):
        BaselineLevel(mean=1.0, n=3, days=4, at=0.0)
    with pytest.raises(SampleError, match="no readings"):
        CheckMean(at=0.0, mean=1.0, n=0, session="a")
    with pytest.raises(SampleError, match="names no session"):
        CheckMean(at=0.0, mean=1.0, n=3, session=None)
    with pytest.raises(SampleError, match="Give a number"):
        CheckMean(at=0.0, mean=math.nan, n=3, session="a")


def test_too_few_or_silent_histories_are_not_fitted() -> None:
    with pytest.raises(SampleError, match="Wait for 8"):
        fit_levels([History(baseline=BASELINE, checks=CHECKS, repeat_sd=0.1)])
    still = tuple(CheckMean(at=2.0 + i, mean=10.0, n=3, session=i) for i in range(9))
    with pytest.raises(SampleError, match="read the same"):
        fit_levels([History(baseline=BASELINE, checks=still, repeat_sd=0.1)])
