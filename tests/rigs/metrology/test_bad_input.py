"""What no measurement follows from: a named error that says what to do, or 'can't be judged'. Never NaN.

Each module's own tests have more of its own. Here is one row for each kind of bad input.
"""

import math
from collections.abc import Callable, Mapping

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.baseline import level_columns, repeat_spread, summarise
from rigs.metrology.certificates import CertificatePoint, CorrectionCurve
from rigs.metrology.conformity import (
    CANNOT_JUDGE,
    CONTACT_STATES,
    IN_RANGE,
    VERDICTS,
    ConformityError,
    ContactState,
    agrees,
    conforms,
    contact_state,
)
from rigs.metrology.drift import ewma, individuals
from rigs.metrology.environment import Air, Density
from rigs.metrology.instruments import InstrumentError, RangeSpec
from rigs.metrology.level_fit import fit_levels, level_intervals
from rigs.metrology.quantities import Quantity, UnitError, to_si
from rigs.metrology.readings import ReadingError, parse
from rigs.metrology.samples import SampleError
from rigs.metrology.today import BaselineLevel, CheckMean, LevelModel, present_value
from rigs.metrology.uncertainty import Budget, UncertaintyError
from rigs.metrology.usual_air import UsualAir, usual_air

ANY = st.floats(allow_nan=True, allow_infinity=True)
NOT_NEGATIVE = st.one_of(st.floats(min_value=0), st.just(math.nan), st.just(math.inf), st.just(0.0))


def point(nominal: float, expanded: float = 1.0) -> CertificatePoint:
    return CertificatePoint(nominal=nominal, error=0.0, expanded=expanded)


BASELINE = BaselineLevel(mean=1.6, n=10, days=3, at=0.0)


BAD: Mapping[str, tuple[Callable[[], object], type[Exception], str]] = {
    # empty columns
    "no readings": (lambda: summarise([], days=[], resolution=0.01), SampleError, "There are no readings"),
    "no repeats": (lambda: repeat_spread([], groups=[], resolution=0.01), SampleError, "Add more"),
    "no checks on a chart": (lambda: ewma([], centre=1.0, sigma=1.0), SampleError, "Add more"),
    "no checks on an individuals chart": (lambda: individuals([], centre=1.0), SampleError, "Add more"),
    "no histories": (lambda: fit_levels([]), SampleError, "set it by hand"),
    "no histories for intervals": (lambda: level_intervals([]), SampleError, "set it by hand"),
    "no points": (lambda: CorrectionCurve(points=()), InstrumentError, "at least one point"),
    "no components": (lambda: Budget(components=()), UncertaintyError, "at least one component"),
    "no days": (lambda: UsualAir(density=1.2, known=1).mean_u(days=[]), SampleError, "Count them again"),
    # one repeat
    "one reading": (lambda: summarise([1.6], days=["mon"], resolution=0.01), SampleError, "at least 5"),
    "one repeat": (lambda: repeat_spread([1.6], groups=["mon"], resolution=0.01), SampleError, "at least 2"),
    "no check readings": (lambda: CheckMean(at=1.0, mean=1.6, n=0, session="a"), SampleError, "Add them"),
    # zero spread with no resolution known
    "zero spread, no resolution": (
        lambda: summarise([1.6] * 5, days=["mon"] * 5, resolution=0.0),
        SampleError,
        "Give the display",
    ),
    "zero spread in columns": (
        lambda: level_columns(np.full((3, 5), 1.6), days=["mon"] * 5, resolution=0.0),
        SampleError,
        "Give the display",
    ),
    "zero repeat noise in a column": (
        lambda: LevelModel(drift_sd=0.1, session_sd=0.1, repeat_sd=np.array([0.1, 0.0]), repeat_dof=9),
        SampleError,
        "resolution",
    ),
    # a range of zero width
    "limits without a range": (
        lambda: conforms(reading=1.0, lower_limit=2.0, upper_limit=2.0, u=0.1, expanded=0.2),
        ConformityError,
        "no range between them",
    ),
    "a range of zero width": (
        lambda: RangeSpec(quantity=Quantity.PRESSURE, unit="mbar", full_scale=0.0, resolution=0.01),
        InstrumentError,
        "full scale must be a number, above 0",
    ),
    # no uncertainty
    "a point with U of zero": (lambda: point(1.0, expanded=0.0), InstrumentError, "must be above 0"),
    "no density": (lambda: UsualAir(density=0.0, known=1), SampleError, "above zero"),
    # NaN and infinity
    "NaN among readings": (
        lambda: summarise([1.6, 1.6, math.nan, 1.5, 1.5], days=["mon"] * 5, resolution=0.01),
        SampleError,
        "Number 3 of the readings is nan. Type it again",
    ),
    "infinity among columns": (
        lambda: level_columns(np.full((2, 5), math.inf), days=["mon"] * 5, resolution=0.01),
        SampleError,
        "all of them numbers",
    ),
    "a mean of NaN": (
        lambda: BaselineLevel(mean=math.nan, n=5, days=1, at=0.0),
        SampleError,
        "Give a number",
    ),
    "an infinite mean in a column": (
        lambda: BaselineLevel(mean=np.array([1.0, math.inf]), n=5, days=1, at=0.0),
        SampleError,
        "Give a number",
    ),
    "an air uncertainty of NaN": (
        lambda: CheckMean(at=1.0, mean=1.6, n=3, session="a", air_u=math.nan),
        SampleError,
        "session's air is nan",
    ),
    "an infinite point": (lambda: point(math.inf), InstrumentError, "all numbers"),
    "a room of NaN": (lambda: Air(celsius=math.nan, pressure=1e5), SampleError, "Give a number"),
    "NaN in a unit": (lambda: to_si(math.nan, unit="mbar"), UnitError, "finite"),
    "NaN as typed": (lambda: parse("nan", quantity=Quantity.PRESSURE, unit="mbar"), ReadingError, "nan"),
    "an infinite air u": (
        lambda: present_value(
            LevelModel(drift_sd=0.1, session_sd=0.1, repeat_sd=0.1, repeat_dof=9),
            baseline=BASELINE,
            checks=[],
            at=1.0,
            air_u=math.inf,
        ),
        SampleError,
        "uncertainty of the air",
    ),
    # mixed units
    "volts for a pressure": (
        lambda: parse("230 V", quantity=Quantity.PRESSURE, unit="mbar"),
        ReadingError,
        "voltage",
    ),
    "ohms for a pressure range": (
        lambda: RangeSpec(quantity=Quantity.PRESSURE, unit="Ω", full_scale=1.0, resolution=0.1),
        InstrumentError,
        "doesn't measure a pressure",
    ),
    "a barometer in mbar": (lambda: Air(celsius=20.0, pressure=1013.0), SampleError, "times 100"),
    # a certificate's points
    "points doubled": (
        lambda: CorrectionCurve(points=(point(1.0), point(1.0))),
        InstrumentError,
        "Leave one out",
    ),
    "points out of order": (
        lambda: CorrectionCurve(points=(point(2.0), point(1.0))),
        InstrumentError,
        "Sort them",
    ),
}


@pytest.mark.parametrize("kind", BAD)
def test_bad_input_is_refused_and_says_what_to_do(kind: str) -> None:
    what, error, says = BAD[kind]
    with pytest.raises(error, match=says):
        what()


def test_nothing_known_of_the_air_is_no_mistake() -> None:
    assert usual_air([]) is None


def test_empty_columns_have_no_verdicts() -> None:
    nothing = np.array([])
    columns = dict.fromkeys(
        ("value", "repeat_sd", "repeat_dof", "repeat_share", "value_u", "value_dof", "instrument_u"), nothing
    )
    assert agrees(reading=nothing, **columns).code.size == 0
    assert (
        conforms(reading=nothing, lower_limit=0.0, upper_limit=1.0, u=nothing, expanded=nothing).code.size
        == 0
    )


@given(
    reading=ANY,
    value=ANY,
    repeat_sd=NOT_NEGATIVE,
    repeat_dof=NOT_NEGATIVE,
    repeat_share=NOT_NEGATIVE,
    value_u=NOT_NEGATIVE,
    value_dof=NOT_NEGATIVE,
    instrument_u=NOT_NEGATIVE,
    floor=NOT_NEGATIVE,
)
def test_a_reading_is_judged_by_numbers_or_not_at_all(**figures: float) -> None:
    with np.errstate(all="ignore"):
        found = agrees(**figures)
    assert 0 <= found.code < len(VERDICTS)
    if found.code != CANNOT_JUDGE:
        assert np.isfinite([found.zeta, found.u, found.t_in, found.t_out]).all()
        assert found.u > 0


@given(reading=ANY, u=NOT_NEGATIVE, expanded=NOT_NEGATIVE)
def test_so_it_is_by_limits(**figures: float) -> None:
    with np.errstate(all="ignore"):
        found = conforms(lower_limit=-math.inf, upper_limit=10.0, **figures)
    assert 0 <= found.code < len(VERDICTS)
    if found.code != CANNOT_JUDGE:
        assert 0 <= found.probability <= 1
    if found.code == IN_RANGE:
        assert figures["expanded"] > 0
        assert math.isfinite(figures["reading"])


@given(
    resistance=ANY, lead_resistance=ANY, instrument_u=NOT_NEGATIVE, lead_u=NOT_NEGATIVE, over=st.booleans()
)
def test_so_is_a_contact(over: bool, **figures: float) -> None:
    with np.errstate(all="ignore"):
        found = contact_state(over_limit=over, **figures)
    state = CONTACT_STATES[int(found.code)]
    if state in {ContactState.CLOSED, ContactState.HIGH_RESISTANCE, ContactState.BORDERLINE}:
        assert math.isfinite(float(found.expanded))
        assert math.isfinite(figures["resistance"] - figures["lead_resistance"])


def test_no_uncertainty_at_all_is_no_verdict() -> None:
    still = {"repeat_sd": 0.0, "repeat_dof": 9, "repeat_share": 0.1, "value_u": 0.0, "value_dof": math.inf}
    assert agrees(reading=1.0, value=1.0, instrument_u=0.0, **still).code == CANNOT_JUDGE
    assert conforms(reading=1.0, lower_limit=0.0, upper_limit=2.0, u=0.0, expanded=0.0).code == CANNOT_JUDGE


def test_the_air_of_a_baseline_is_the_days_that_make_it_up() -> None:
    known = Density(value=1.2, u=0.0024, stated=True)
    usual = UsualAir(density=1.2, known=4)
    assert usual.mean_u(days=[(5, known), (5, known)]) == pytest.approx(0.002 / math.sqrt(2))
    spread = 0.013
    assert usual.mean_u(days=[(5, None)]) == pytest.approx(spread * math.sqrt(1 + 1 / 4))
    assert usual.of_a_session.u == pytest.approx(1.2 * spread * math.sqrt(1 + 1 / 4))
    three = usual.mean_u(days=[(1, None)] * 3)
    assert three == pytest.approx(spread * math.sqrt(1 / 3 + 1 / 4))
