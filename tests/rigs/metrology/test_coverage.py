"""The stated 95.45 % at full size: 200,000 attempts, each with a baseline of its own, through the same code.

The project's functions take columns, so each simulation is a second or two. All draws are seeded.
"""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from rigs.metrology.baseline import LevelColumns, level_columns
from rigs.metrology.conformity import (
    CONTACT_STATES,
    VERDICTS,
    Agreement,
    ContactState,
    Verdict,
    agrees,
    conforms,
    contact_state,
)
from rigs.metrology.environment import REFERENCE_DENSITY, Density
from rigs.metrology.instruments import spec_uncertainty
from rigs.metrology.local_level import Numbers
from rigs.metrology.today import BaselineLevel, CheckMean, LevelModel, PresentValue, present_value
from rigs.metrology.uncertainty import COVERAGE, coverage_factor
from rigs.metrology.usual_air import USUAL_SPREAD, UsualAir

ATTEMPTS = 200_000
REPEATS = (5, 10, 30)
IN_RANGE, OUT_OF_RANGE = VERDICTS.index(Verdict.IN_RANGE), VERDICTS.index(Verdict.OUT_OF_RANGE)
LEVEL, DRIFT, SESSION, REPEAT = 1.6, 0.004, 0.02, 0.02
"""A venturi in mbar: 0.7 % drift per √week, 1.3 % a session, 1.3 % repeats."""

Floats = NDArray[np.float64]


def share(where: NDArray[np.bool_]) -> float:
    return float(np.mean(where))


def inside(found: Agreement) -> float:
    return share(found.code == IN_RANGE)


def generator(*labels: int) -> np.random.Generator:
    return np.random.default_rng([1908, *labels])


def redrawn(n: int, *, level_u: float = 0.0, normal_u: float = 0.0, specification: float = 0.0) -> Agreement:
    """Good readings against baselines of ``n`` repeats, σ = 1. ``specification`` is a half-width."""
    chance = generator(n)
    baseline = level_columns(chance.normal(size=(ATTEMPTS, n)), days=[0] * n, resolution=0.0)
    off = chance.uniform(-1, 1, ATTEMPTS) * specification + chance.normal(size=ATTEMPTS) * normal_u
    reading = chance.normal(size=ATTEMPTS) + chance.normal(size=ATTEMPTS) * level_u + off
    return agrees(
        reading=reading,
        value=baseline.mean,
        repeat_sd=baseline.repeat_sd,
        repeat_dof=baseline.repeat_dof,
        repeat_share=1 / n,
        value_u=level_u,
        value_dof=math.inf,
        instrument_u=math.hypot(normal_u, specification / math.sqrt(3)),
    )


@pytest.mark.parametrize("n", REPEATS)
@pytest.mark.parametrize(("level_u", "normal_u"), [(0.0, 0.0), (0.3, 0.5), (1.0, 1.0)])
def test_good_readings_are_in_range_as_often_as_stated(n: int, level_u: float, normal_u: float) -> None:
    found = redrawn(n, level_u=level_u, normal_u=normal_u)
    assert 0.940 <= inside(found) <= 0.960
    # Welch–Satterthwaite is rough far out in the tail: up to three times the stated 0.27 % with five repeats,
    # a reason why an assessment asks for ten.
    assert share(found.code == OUT_OF_RANGE) < (0.009 if n == 5 else 0.005)


@pytest.mark.parametrize("n", REPEATS)
@pytest.mark.parametrize("times_the_repeats", [0.5, 1.0, 2.0, 5.0, 20.0])
def test_a_rectangular_specification_never_makes_it_less(n: int, times_the_repeats: float) -> None:
    found = redrawn(n, specification=times_the_repeats * math.sqrt(3))
    assert inside(found) >= 0.940


@pytest.mark.parametrize(("n", "by_two"), [(5, 0.88), (10, 0.92), (30, 0.945)])
def test_plain_two_standard_uncertainties_would_fail_more_than_stated(n: int, by_two: float) -> None:
    found = redrawn(n)
    covered = share(np.abs(found.zeta) <= 2)
    assert covered == pytest.approx(by_two, abs=0.005)
    assert covered < COVERAGE - 0.008 < inside(found)


def baselines(chance: np.random.Generator, *, n: int, days: int, air: Numbers = 1.0) -> LevelColumns:
    """As a centre takes them: over days that each have an effect of their own. ``air`` is a ratio a day."""
    day_of = np.sort(np.arange(n) % days)
    effects = chance.normal(scale=SESSION, size=(ATTEMPTS, days))
    readings = LEVEL + effects[:, day_of] + chance.normal(scale=REPEAT, size=(ATTEMPTS, n))
    factors = np.broadcast_to(air, (ATTEMPTS, days))[:, day_of]
    return level_columns(readings * factors, days=day_of.tolist(), resolution=1e-3)


def judged(reading: Floats, present: PresentValue, *, dof: int, back: Numbers = 1.0) -> Agreement:
    return agrees(
        reading=reading,
        value=present.value * back,
        repeat_sd=present.repeat_sd * back,
        repeat_dof=dof,
        repeat_share=present.repeat_share,
        value_u=present.u * back,
        value_dof=present.dof,
        instrument_u=0.0,
    )


@pytest.mark.parametrize(("n", "days"), [(5, 1), (5, 3), (10, 3), (30, 3)])
@pytest.mark.parametrize("weeks", [1, 8])
def test_so_they_are_through_drift_sessions_and_weekly_checks(n: int, days: int, weeks: int) -> None:
    chance = generator(n, days, weeks)
    baseline = baselines(chance, n=n, days=days)
    level: Floats = np.full(ATTEMPTS, LEVEL)
    checks = []
    effect: Floats = np.zeros(ATTEMPTS)
    for week in range(1, weeks + 1):
        level = level + chance.normal(scale=DRIFT * math.sqrt(7), size=ATTEMPTS)
        effect = chance.normal(scale=SESSION, size=ATTEMPTS)
        taken = (level + effect)[:, None] + chance.normal(scale=REPEAT, size=(ATTEMPTS, 3))
        checks.append(CheckMean(at=7.0 * week, mean=taken.mean(axis=1), n=3, session=week))
    present = present_value(
        LevelModel(
            drift_sd=DRIFT,
            session_sd=SESSION,
            repeat_sd=baseline.repeat_sd,
            repeat_dof=baseline.repeat_dof,
        ),
        baseline=BaselineLevel(mean=baseline.mean, n=n, days=days, at=0.0),
        checks=checks,
        at=7.0 * weeks,
        session=weeks,
    )
    reading = level + effect + chance.normal(scale=REPEAT, size=ATTEMPTS)
    found = judged(reading, present, dof=baseline.repeat_dof)
    assert 0.940 <= inside(found) <= 0.960
    assert share(found.code == OUT_OF_RANGE) < 0.005


@pytest.mark.parametrize("rooms", ["all", "checks", "today", "baseline"])
def test_so_they_are_whichever_rooms_were_recorded(rooms: str) -> None:
    """Air strays by the usual spread; a room that was read is known to 0.25 %, from a thermometer's error."""
    n, days, weeks, read_u = 10, 3, 3, 0.0025
    chance = generator(len(rooms))
    knows_baseline, knows = rooms in {"all", "baseline"}, {"all": (1, 2, 3), "checks": (1, 2), "today": (3,)}
    true = 1 + chance.normal(scale=USUAL_SPREAD, size=(ATTEMPTS, days + weeks))
    read = true * (1 + chance.normal(scale=read_u, size=true.shape))
    known = [*(range(days) if knows_baseline else ()), *(days + week - 1 for week in knows.get(rooms, ()))]
    usual = read[:, known].mean(axis=1)
    as_if = np.where(np.isin(np.arange(days + weeks), known), read, usual[:, None])
    known_air = Density(value=REFERENCE_DENSITY, u=read_u * REFERENCE_DENSITY, stated=True)
    shared = UsualAir(density=REFERENCE_DENSITY, known=len(known))

    def air_u(place: int) -> float:
        air = known_air if place in known else shared.of_a_session
        return air.u / air.value * LEVEL

    baseline = baselines(chance, n=n, days=days, air=true[:, :days] / as_if[:, :days])
    day_of = np.sort(np.arange(n) % days).tolist()
    by_day = [(day_of.count(day), known_air if knows_baseline else None) for day in range(days)]
    level: Floats = np.full(ATTEMPTS, LEVEL)
    effect: Floats = np.zeros(ATTEMPTS)
    checks = []
    for week in range(1, weeks + 1):
        level = level + chance.normal(scale=DRIFT * math.sqrt(7), size=ATTEMPTS)
        effect = chance.normal(scale=SESSION, size=ATTEMPTS)
        taken = (level + effect)[:, None] + chance.normal(scale=REPEAT, size=(ATTEMPTS, 3))
        place = days + week - 1
        mean = taken.mean(axis=1) * true[:, place] / as_if[:, place]
        checks.append(CheckMean(at=7.0 * week, mean=mean, n=3, session=week, air_u=air_u(place)))
    model = LevelModel(
        drift_sd=DRIFT, session_sd=SESSION, repeat_sd=baseline.repeat_sd, repeat_dof=baseline.repeat_dof
    )
    start = BaselineLevel(
        mean=baseline.mean, n=n, days=days, at=0.0, air_u=shared.mean_u(days=by_day) * LEVEL
    )
    present = present_value(model, baseline=start, checks=checks, at=7.0 * weeks, session=weeks)
    reading = (level + effect + chance.normal(scale=REPEAT, size=ATTEMPTS)) * true[:, -1]
    found = judged(reading, present, dof=baseline.repeat_dof, back=as_if[:, -1])
    assert 0.940 <= inside(found) <= 0.960


@pytest.mark.parametrize("specification", [0.0, 1.0, 10.0])
@pytest.mark.parametrize("beyond", [0.0, 0.2, 1.0])
def test_what_lies_at_a_limit_or_beyond_is_seldom_accepted(specification: float, beyond: float) -> None:
    """With w = U the risk at one limit is at most half of 4.55 % (JCGM 106, 8.3.2): normal is the worst."""
    chance = generator(int(specification), int(10 * beyond))
    u = np.hypot(1.0, spec_uncertainty(reading=0.0, counts=specification, resolution=1.0))
    true = 250.0 + beyond
    read = (
        true
        + chance.normal(size=ATTEMPTS)
        + chance.uniform(-1, 1, ATTEMPTS) * specification
        + chance.uniform(-0.5, 0.5, ATTEMPTS)
    )
    found = conforms(
        reading=read,
        lower_limit=200.0,
        upper_limit=250.0,
        u=u,
        expanded=coverage_factor(dof=math.inf) * u,
    )
    risk = (1 - COVERAGE) / 2
    noise = 3 * math.sqrt(risk / ATTEMPTS)
    assert share(found.code == IN_RANGE) <= risk + noise
    if specification == 0.0 and beyond == 0.0:
        assert share(found.code == IN_RANGE) >= risk - noise - 0.001  # guarded, and no more than stated


def test_a_contact_over_its_limit_is_seldom_called_closed() -> None:
    chance = generator(1)
    meter_u = float(spec_uncertainty(reading=1.2, percent_reading=0.9, counts=0.5, resolution=0.1))
    read = 1.2 + chance.normal(scale=meter_u, size=ATTEMPTS)
    leads = 0.2 + chance.normal(scale=meter_u, size=ATTEMPTS)
    found = contact_state(
        resistance=read,
        over_limit=False,
        lead_resistance=leads,
        instrument_u=meter_u,
        lead_u=meter_u,
        coverage=coverage_factor(dof=math.inf),
    )
    risk = (1 - COVERAGE) / 2
    closed = share(found.code == CONTACT_STATES.index(ContactState.CLOSED))
    assert closed <= risk + 3 * math.sqrt(risk / ATTEMPTS)
