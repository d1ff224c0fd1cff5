import math

import pytest

from rigs.metrology.environment import Air, air_density, as_read_in, normalised
from rigs.metrology.samples import SampleError

ROOM = Air(celsius=20, pressure=101325, humidity=0.5)


def test_damp_warm_or_thin_air_is_lighter() -> None:
    here = air_density(ROOM).value
    assert air_density(Air(celsius=20, pressure=101325, humidity=0.9)).value < here
    assert air_density(Air(celsius=25, pressure=101325, humidity=0.5)).value < here
    assert air_density(Air(celsius=20, pressure=97000, humidity=0.5)).value < here


def test_unmeasured_humidity_is_taken_as_half() -> None:
    assert air_density(Air(celsius=20, pressure=101325)) == air_density(ROOM)


def test_the_equation_alone_is_the_least_uncertainty() -> None:
    found = air_density(ROOM)
    assert found.u == pytest.approx(22e-6 * found.value)


def test_room_instruments_add_their_uncertainty() -> None:
    """A pressure off by 1 % is a density off by 1 %, a kelvin is 1/293 (and a little vapour) of it."""
    by_pressure = air_density(Air(celsius=20, pressure=101325, humidity=0.5, pressure_u=1013.25))
    assert by_pressure.u / by_pressure.value == pytest.approx(0.01, rel=0.01)
    by_warmth = air_density(Air(celsius=20, pressure=101325, humidity=0.0, celsius_u=1.0))
    assert by_warmth.u / by_warmth.value == pytest.approx(1 / 293.15, rel=0.01)
    damp = air_density(Air(celsius=20, pressure=101325, humidity=0.5, humidity_u=0.1))
    assert damp.u / damp.value == pytest.approx(0.00087, rel=0.05)


@pytest.mark.parametrize(
    ("celsius", "pressure", "stated"), [(20, 101325, True), (10, 101325, False), (28, 95000, False)]
)
def test_where_the_equation_s_uncertainty_is_stated(celsius: float, pressure: float, stated: bool) -> None:
    assert air_density(Air(celsius=celsius, pressure=pressure)).stated is stated


def test_a_venturi_reads_in_proportion_to_density() -> None:
    found = normalised(165.0, air=ROOM, reference=1.2)
    assert found.value == pytest.approx(165.0 * 1.2 / 1.19931, rel=1e-5)


def test_a_warm_thin_day_reads_four_percent_lower() -> None:
    """18 °C and 1013 hPa against 25 °C and 995 hPa: by the ideal gas law −4.1 %."""
    cool = normalised(165.0, air=Air(celsius=18, pressure=101300, humidity=0)).value
    warm = normalised(165.0, air=Air(celsius=25, pressure=99500, humidity=0)).value
    assert cool / warm - 1 == pytest.approx(-0.041, abs=0.0005)


def test_normalising_and_back_is_where_it_began() -> None:
    assert as_read_in(normalised(165.0, air=ROOM).value, air=ROOM) == pytest.approx(165.0)


def test_uncertainties_of_reading_and_air_add_in_quadrature() -> None:
    air = Air(celsius=20, pressure=101325, pressure_u=500)
    bare, found = normalised(165.0, air=air), normalised(165.0, u=1.0, air=air)
    assert found.u == pytest.approx(math.hypot(bare.u, found.value / 165.0))


@pytest.mark.parametrize(
    ("broken", "message"),
    [
        ({"pressure": 1013.25}, "times 100"),
        ({"pressure": math.nan}, "Give a number"),
        ({"celsius": 293.15}, "degrees Celsius"),
        ({"celsius": math.inf}, "Give a number"),
        ({"humidity": 55}, "55 % is 0.55"),
        ({"humidity": -0.1}, "0 to 1"),
        ({"carbon_dioxide": 400}, "400 ppm is 0.0004"),
        ({"pressure_u": -1}, "zero or more"),
    ],
)
def test_room_air_in_other_units_is_refused(broken: dict[str, float], message: str) -> None:
    with pytest.raises(SampleError, match=message):
        Air(**({"celsius": 20.0, "pressure": 101325.0} | broken))


def test_readings_that_are_no_numbers_are_refused() -> None:
    with pytest.raises(SampleError, match="differential pressure"):
        normalised(math.nan, air=ROOM)
    with pytest.raises(SampleError, match="reference density"):
        normalised(1.0, air=ROOM, reference=0.0)
    with pytest.raises(SampleError, match="uncertainty"):
        normalised(1.0, u=-1.0, air=ROOM)
