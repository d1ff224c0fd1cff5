import inspect
import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.computed.calculator import Calculator, Figures, Measure
from rigs.metrology.computed.registry import CALCULATORS
from rigs.metrology.computed.thermometers import (
    NTC_10K,
    NTC_12K,
    ResistanceTable,
    ntc_resistance,
    ntc_temperature,
    pt100_resistance,
    pt100_temperature,
)
from rigs.metrology.quantities import UNITS, Quantity
from rigs.metrology.readings import TypedReading, parse
from rigs.metrology.samples import SampleError
from rigs.metrology.uncertainty import UncertaintyError
from tests.rigs.metrology.worked_examples import MAKES, TIMED, WORKED


def typed(text: str, *, quantity: Quantity, unit: str) -> TypedReading:
    return parse(text, quantity=quantity, unit=unit)


def test_every_calculator_has_a_worked_example() -> None:
    assert WORKED.keys() == CALCULATORS.keys()


@pytest.mark.parametrize(("name", "example"), WORKED.items())
def test_a_worked_example_comes_out(name: str, example: tuple[Figures, float]) -> None:
    figures, printed = example
    exponent = Decimal(str(printed)).as_tuple().exponent
    assert CALCULATORS[name].compute(figures) == pytest.approx(printed, abs=0.51 * 10.0 ** int(exponent))


@pytest.mark.parametrize("calculator", CALCULATORS.values(), ids=CALCULATORS.keys())
def test_a_calculator_s_inputs_are_its_formula_s(calculator: Calculator) -> None:
    parameters = inspect.signature(calculator.function).parameters
    assert [each.name for each in calculator.inputs] == list(parameters)
    for each in calculator.inputs:
        assert each.has_repeats == ("tuple" in str(parameters[each.name].annotation))


@pytest.mark.parametrize("calculator", CALCULATORS.values(), ids=CALCULATORS.keys())
def test_a_calculator_says_its_units_formula_and_source(calculator: Calculator) -> None:
    assert calculator.label and calculator.formula and calculator.source
    for measure in (*calculator.inputs, calculator.output):
        assert measure.unit is None or measure.quantity is None or measure.unit in UNITS[measure.quantity]
    # An answer can always be typed.
    assert calculator.output.quantity is not None or calculator.output.unit is None


def test_a_reading_goes_in_in_the_formula_s_unit_whatever_it_was_typed_in() -> None:
    volume, time = CALCULATORS["gas-rate"].inputs
    assert volume.figure(typed("50", quantity=Quantity.VOLUME, unit="l")) == pytest.approx(0.05)
    assert time.figure(typed("1.25", quantity=Quantity.TIME, unit="min")) == 75.0
    assert time.resolution(typed("1.25", quantity=Quantity.TIME, unit="min")) == pytest.approx(0.6)


def test_a_figure_in_the_formula_s_own_unit_is_not_touched() -> None:
    running = CALCULATORS["margin"].inputs[0]
    reading = typed("1.57", quantity=Quantity.PRESSURE, unit="mbar")
    assert running.figure(reading) == 1.57
    assert running.resolution(reading) == 0.01


def test_a_temperature_has_an_offset_and_a_difference_of_temperatures_has_none() -> None:
    kelvin = typed("293.15", quantity=Quantity.TEMPERATURE, unit="K")
    assert CALCULATORS["pt100-resistance"].inputs[0].figure(kelvin) == 20.0
    half = typed("0.5", quantity=Quantity.TEMPERATURE, unit="K")
    assert CALCULATORS["ntc-10k-error"].output.figure(half) == 0.5


def test_an_open_calculator_works_in_si_until_its_quantity_is_said() -> None:
    reading = typed("1.57", quantity=Quantity.PRESSURE, unit="mbar")
    mean = CALCULATORS["mean"]
    assert mean.inputs[0].figure(reading) == 157.0
    of_pressure = mean.measuring(Quantity.PRESSURE)
    assert of_pressure.inputs[0].figure(reading) == of_pressure.output.figure(reading) == 1.57
    ratio = CALCULATORS["ratio"].measuring(Quantity.PRESSURE)
    assert [each.unit for each in ratio.inputs] == ["mbar", "mbar"]
    assert ratio.output == CALCULATORS["ratio"].output


@pytest.mark.parametrize(
    ("measure", "text", "quantity", "unit", "message"),
    [
        (CALCULATORS["gas-rate"].inputs[1], "OL", Quantity.TIME, "s", "“OL” is no number"),
        (CALCULATORS["gas-rate"].inputs[1], "5", Quantity.VOLUME, "m³", "a volume; a time is due here"),
        (CALCULATORS["pipe-volume"].inputs[0], "20", Quantity.TIME, "s", "a time; mm is due here"),
    ],
)
def test_what_cannot_go_in_is_refused_by_name(
    measure: Measure, text: str, quantity: Quantity, unit: str, message: str
) -> None:
    with pytest.raises(SampleError, match=message):
        measure.figure(typed(text, quantity=quantity, unit=unit))
    with pytest.raises(SampleError, match=message):
        measure.resolution(typed(text, quantity=quantity, unit=unit))


@pytest.mark.parametrize(
    ("name", "changes", "message"),
    [
        ("gas-rate", {"time": 0.0}, "The time is 0. Give a number above zero"),
        ("gas-rate", {"time": -75.0}, "The time is -75"),
        ("gas-rate", {"volume": -0.1}, "The volume is -0.1"),
        ("gas-rate", {"time": math.nan}, "The time is nan, not a number"),
        ("gas-rate", {"time": (75.0, 76.0)}, "The time is one figure, not 2"),
        ("gas-rate", {"times": 75.0}, "“Gas rate, metric” has no use for “times”"),
        ("gas-rate", {"volume": 1e308}, "can't be worked out from figures of such a size"),
        ("net-from-gross", {"gross_to_net": 0.0}, "The ratio of gross to net is 0"),
        ("percentage-drop", {"before": 0.0}, "The earlier reading is 0, and nothing can be divided"),
        ("ratio", {"to": 0.0}, "The reading divided by is 0"),
        ("margin", {"makes": (0.1, -0.1)}, "The make point is 0"),
        ("mean", {"readings": ()}, "There are no repeats"),
        ("hysteresis", {"breaks": (0.7, math.inf)}, "Number 2 of the break points is inf"),
        ("installation-volume", {"lengths": (14.0,)}, "1 lengths of pipe and 2 volumes a metre"),
        ("winding-resistance", {"measured_at": -234.5}, "The 234.5 \\+ temperature measured at is 0"),
        ("pt100-temperature", {"resistance": 12474.0}, "Check the unit, and that it is a Pt100"),
        ("pt100-resistance", {"temperature": 900.0}, "goes from -200 to 850 °C"),
        ("ntc-10k-temperature", {"resistance": 1.2474}, "outside the table of the 10 kΩ type, 1290 to 32014"),
        ("ntc-12k-resistance", {"temperature": 90.0}, "outside the table of the 12 kΩ type, 0 to 80 °C"),
        ("ntc-b-resistance", {"temperature": -273.15}, "The temperature in K is 0"),
        ("ntc-b-resistance", {"temperature": -273.0}, "figures of such a size"),
        # More resistance than at any temperature above absolute zero.
        ("ntc-b-temperature", {"resistance": 1e-9}, "The reciprocal of the temperature is -"),
        ("ntc-b-value", {"warm": 25.0}, "Both points are at one temperature"),
    ],
)
def test_figures_that_nothing_follows_from_are_refused_in_words(
    name: str, changes: dict, message: str
) -> None:
    with pytest.raises(SampleError, match=message):
        CALCULATORS[name].compute({**WORKED[name][0], **changes})


def test_a_missing_figure_is_named() -> None:
    with pytest.raises(SampleError, match="The time is missing"):
        CALCULATORS["gas-rate"].compute({"volume": 0.05})


@pytest.mark.parametrize(
    ("name", "changes", "of", "slopes"),
    [
        ("mean", {"readings": (1.0, 2.0, 4.0, 0.0)}, "readings", (0.25,) * 4),
        ("difference", {"high": 21.0, "low": 0.0}, "low", (-1.0,)),
        ("ratio", {"of": 0.66, "to": 1.58}, "to", (-0.66 / 1.58**2,)),
        ("percentage-drop", {"before": 1.6, "after": 0.6}, "before", (100 * 0.6 / 1.6**2,)),
        ("hysteresis", {}, "breaks", (-0.2,) * 5),
        ("gas-rate", {}, "time", (-3600 * 0.05 / 75**2,)),
        ("gross-heat-input", {}, "volume", (1000 * 39.5 / 75,)),
        ("net-from-gross", {}, "gross_to_net", (-26.3 / 1.11**2,)),
        ("without-leads", {"leads": 0.0}, "leads", (-1.0,)),
        ("winding-resistance", {}, "wanted_at", (52 / 254.5,)),
        ("pt100-resistance", {"temperature": 0.0}, "temperature", (0.39083,)),
        ("ntc-b-resistance", {}, "temperature", (-10000 * 3950 / 298.15**2,)),
    ],
)
def test_a_slope_is_the_analytic_one(name: str, changes: dict, of: str, slopes: tuple[float, ...]) -> None:
    found = CALCULATORS[name].sensitivity({**WORKED[name][0], **changes})
    assert found[of] == pytest.approx(slopes, rel=1e-6)


@pytest.mark.parametrize("celsius", [0.0, 80.0])
def test_at_the_end_of_a_table_the_slope_is_that_of_its_last_stretch(celsius: float) -> None:
    inside = celsius + (1e-3 if celsius == 0 else -1e-3)
    at_end, nearby = (
        CALCULATORS["ntc-10k-resistance"].sensitivity({"temperature": each})["temperature"][0]
        for each in (celsius, inside)
    )
    assert at_end == pytest.approx(nearby, rel=1e-3)


def test_a_second_in_75_is_more_than_a_percent_of_the_heat_input() -> None:
    budget = CALCULATORS["gross-heat-input"].budget(TIMED, u={"time": 1.0, "volume": 0.0003})
    by_name = {each.name: each.u for each in budget.components}
    assert by_name == pytest.approx({"volume": 26.333 * 0.006, "time": 26.333 / 75}, rel=1e-3)
    assert budget.combined == pytest.approx(math.hypot(*by_name.values()))


def test_a_mean_does_not_lessen_the_error_of_its_instrument() -> None:
    assert CALCULATORS["mean"].budget({"readings": MAKES}, u={"readings": 0.02}).combined == pytest.approx(
        0.02
    )


def test_a_budget_without_any_uncertainty_is_refused() -> None:
    with pytest.raises(UncertaintyError, match="at least one component"):
        CALCULATORS["gas-rate"].budget(WORKED["gas-rate"][0], u={})


@given(celsius=st.floats(-200, 850))
def test_a_pt100_s_temperature_comes_back_from_its_resistance(celsius: float) -> None:
    assert pt100_temperature(resistance=pt100_resistance(temperature=celsius)) == pytest.approx(
        celsius, abs=1e-6
    )


@given(celsius=st.floats(0, 80), table=st.sampled_from([NTC_10K, NTC_12K]))
def test_an_ntc_s_temperature_comes_back_from_its_resistance(celsius: float, table: ResistanceTable) -> None:
    resistance = table.resistance(temperature=celsius)
    assert table.temperature(resistance=resistance) == pytest.approx(celsius, abs=1e-6)
    assert table.error(resistance=resistance, temperature=celsius - 1) == pytest.approx(1, abs=1e-6)


@given(celsius=st.floats(-50, 150), b=st.floats(2500, 5000), nominal=st.floats(100, 1e6))
def test_the_b_equation_comes_back_too(celsius: float, b: float, nominal: float) -> None:
    resistance = ntc_resistance(temperature=celsius, nominal=nominal, b=b)
    assert ntc_temperature(resistance=resistance, nominal=nominal, b=b) == pytest.approx(celsius, abs=1e-6)


@given(one=st.floats(0, 80), other=st.floats(0, 80))
def test_a_warmer_ntc_never_has_more_resistance(one: float, other: float) -> None:
    cold, warm = sorted((one, other))
    assert NTC_10K.resistance(temperature=cold) >= NTC_10K.resistance(temperature=warm) * (1 - 1e-12)


@pytest.mark.parametrize("table", [NTC_10K, NTC_12K])
@pytest.mark.parametrize("place", [1, 2, 3, 4])
def test_a_point_left_out_of_a_table_is_found_again(table: ResistanceTable, place: int) -> None:
    celsius, ohms = table.points[place]
    coarser = ResistanceTable(label="coarser one", points=(*table.points[:place], *table.points[place + 1 :]))
    # Over gaps of up to 40 °C; a quarter of it over 20 °C.
    assert coarser.temperature(resistance=ohms) == pytest.approx(celsius, abs=0.16)
    # A straight line through ohms would be degrees away.
    (cold, more), (warm, less) = coarser.points[place - 1 : place + 1]
    straight = cold + (warm - cold) * (more - ohms) / (more - less)
    assert abs(straight - celsius) > abs(coarser.temperature(resistance=ohms) - celsius)


def test_an_error_in_degrees_is_one_where_an_error_in_ohms_is_not() -> None:
    ohms = [
        NTC_10K.resistance(temperature=celsius) - NTC_10K.resistance(temperature=celsius + 1)
        for celsius in (5, 70)
    ]
    assert ohms[0] > 10 * ohms[1]


@pytest.mark.parametrize(
    ("points", "message"),
    [
        (((25, 10000),), "at least two points"),
        (((25, 10000), (20, 12474)), "25 and 20 °C are out of order"),
        (((20, 10000), (20, 10000)), "20 and 20 °C are out of order"),
        (((20, 10000), (25, 12474)), "an NTC's resistance falls as it warms"),
        (((20, 12474), (25, 0)), "The resistance is 0"),
        (((-300, 12474), (25, 10000)), "The temperature in K is -26.85"),
    ],
)
def test_a_table_that_cannot_be_right_is_refused(points: tuple, message: str) -> None:
    with pytest.raises(SampleError, match=message):
        ResistanceTable(label="10 kΩ type", points=points)
