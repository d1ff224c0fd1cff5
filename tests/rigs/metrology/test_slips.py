import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigs.metrology.computed.calculator import Calculator, Figures
from rigs.metrology.computed.registry import CALCULATORS
from rigs.metrology.quantities import Quantity
from rigs.metrology.readings import parse
from rigs.metrology.samples import SampleError
from rigs.metrology.slips import (
    Answer,
    Explanation,
    Follows,
    Slip,
    SlipKind,
    Unexplained,
    explain,
    wrong_ways,
)
from tests.rigs.metrology.worked_examples import BREAKS, FOOT, MAKES, TIMED

SWITCH = {"makes": MAKES, "breaks": BREAKS}
METERED = {"volume": 0.05, "time": 75.0}
NET = {**TIMED, "gross_to_net": 1.11}
DROP = {"before": 1.6, "after": 0.6}
WINDING = {"resistance": 52.0, "measured_at": 20.0, "wanted_at": 60.0}


def written(text: str, calculator: Calculator) -> Answer:
    """An answer as typed in the calculator's own unit."""
    quantity, unit = calculator.output.quantity, calculator.output.unit
    assert quantity is not None and unit is not None
    return Answer.typed(parse(text, quantity=quantity, unit=unit), calculator=calculator)


def explained(name: str, figures: Figures, text: str, **options: object) -> Explanation:
    calculator = CALCULATORS[name]
    if calculator.inputs[0].unit is None:
        calculator = calculator.measuring(Quantity.PRESSURE)
    return explain(calculator, inputs=figures, answer=written(text, calculator), **options)


@pytest.mark.parametrize(
    ("name", "figures", "text"),
    [
        ("gas-rate", METERED, "2.4"),
        ("gas-rate", METERED, "2.400"),
        ("gas-rate", METERED, "40 l/min"),
        ("gross-heat-input", TIMED, "26.3"),
        ("gross-heat-input", TIMED, "26.333"),
        ("gross-heat-input", TIMED, "26"),
        ("gross-heat-input", TIMED, "26333 W"),
        ("gross-heat-input-imperial", FOOT, "23.346"),
        ("net-heat-input", {**TIMED, "gross_to_net": 1.11}, "23.7"),
        ("hysteresis", SWITCH, "0.236"),
        ("hysteresis", SWITCH, "0.24"),
        ("hysteresis", SWITCH, "23.6 Pa"),
        ("margin", {"running": 1.58, "makes": MAKES}, "1.65"),
        ("margin", {"running": 1.58, "makes": MAKES}, "165 %"),
        ("mean", {"readings": (0.0, 0.01, 0.0)}, "0.00"),
        ("without-leads", {"resistance": 0.6, "leads": 0.3}, "0.3"),
        ("percentage-drop", DROP, "62.5"),
        # Halfway between two digits, both are rounded.
        ("percentage-drop", DROP, "62"),
        ("percentage-drop", DROP, "63"),
        ("ntc-10k-temperature", {"resistance": 5372.0}, "313.15 K"),
        ("pt100-temperature", {"resistance": 107.79}, "20.0"),
    ],
)
def test_an_answer_follows_at_its_own_rounding_in_whichever_unit(
    name: str, figures: Figures, text: str
) -> None:
    found = explained(name, figures, text)
    assert isinstance(found, Follows)
    assert found.computed == CALCULATORS[name].compute(figures)


# What each slip is called, and answers that it explains.
SLIPS: dict[tuple[SlipKind, str], tuple[tuple[str, Figures, str], ...]] = {
    (SlipKind.FACTOR_100, "100 times too large, as if pascals were millibar."): (
        ("mean", {"readings": (1.57, 1.6, 1.57)}, "158"),
        ("hysteresis", SWITCH, "23.6"),
    ),
    (SlipKind.FACTOR_100, "100 times too small, as if millibar were pascals."): (
        ("hysteresis", SWITCH, "0.00236"),
    ),
    (
        SlipKind.FACTOR_100,
        "100 times too large, as if pascals were millibar or a percentage were a plain ratio.",
    ): (("margin", {"running": 1.58, "makes": MAKES}, "165"),),
    (
        SlipKind.FACTOR_100,
        "100 times too small, as if millibar were pascals or a plain ratio were a percentage.",
    ): (("percentage-drop", DROP, "0.625"),),
    (SlipKind.FACTOR_1000, "1000 times too large, as if litres were cubic metres."): (
        ("gas-rate", METERED, "2400"),
    ),
    (SlipKind.FACTOR_1000, "1000 times too small, as if cubic metres were litres."): (
        ("gas-rate", METERED, "0.0024"),
        ("pipe-volume", {"bore": 20.0, "length": 10.0}, "0.00314"),
    ),
    (SlipKind.FACTOR_1000, "1000 times too large, as if litres were cubic metres or watts were kilowatts."): (
        ("gross-heat-input", TIMED, "26333"),
    ),
    (SlipKind.FACTOR_1000, "1000 times too large, as if watts were kilowatts."): (
        ("gross-heat-input-imperial", FOOT, "23347"),
    ),
    (SlipKind.FACTOR_1000, "1000 times too small, as if kilohms were ohms."): (
        ("winding-resistance", WINDING, "0.0602"),
    ),
    (SlipKind.FACTOR_10, "10 times too large: the decimal point is one place off."): (
        ("gross-heat-input", TIMED, "263.3"),
    ),
    (SlipKind.FACTOR_10, "10 times too small: the decimal point is one place off."): (
        ("pt100-temperature", {"resistance": 123.24}, "6.00"),
    ),
    (SlipKind.FACTOR_100, "100 times too large: the decimal point is two places off."): (
        ("pt100-temperature", {"resistance": 123.24}, "6000"),
    ),
    (SlipKind.SIGN, "The size is right and the sign is wrong."): (
        ("difference", {"high": 0.66, "low": -0.92}, "-1.58"),
        ("percentage-drop", DROP, "-62.5"),
    ),
    (SlipKind.GROSS_FOR_NET, "This is the gross figure; the net is due."): (
        ("net-heat-input", NET, "26.3"),
        ("net-from-gross", {"gross": 26.3, "gross_to_net": 1.11}, "26.3"),
    ),
    (SlipKind.NET_FOR_GROSS, "This is the net figure; the gross is due."): (
        ("gross-heat-input", TIMED, "23.7"),
        ("gross-heat-input", TIMED, "23.9"),
        ("gross-heat-input-from-rate", {"rate": 2.4, "calorific_value": 39.5}, "23.7"),
    ),
    (SlipKind.LEADS, "The leads have not been taken off."): (
        ("without-leads", {"resistance": 0.7, "leads": 0.3}, "0.7"),
    ),
    (SlipKind.HOURS_FOR_SECONDS, "The time was put in as hours; the formula takes seconds."): (
        ("gas-rate", METERED, "8640"),
    ),
    (SlipKind.HOURS_FOR_SECONDS, "The seconds were taken for hours."): (("gas-rate", METERED, "0.000667"),),
    (SlipKind.MINUTES_FOR_SECONDS, "The time was put in as minutes; the formula takes seconds."): (
        ("gas-rate", METERED, "144"),
    ),
    (SlipKind.MINUTES_FOR_SECONDS, "The seconds were taken for minutes."): (
        ("gross-heat-input-imperial", FOOT, "0.389"),
    ),
    (SlipKind.HEAT_UNIT, "This is in megajoules an hour; 3.6 of them are a kilowatt."): (
        ("gross-heat-input", TIMED, "94.8"),
    ),
    (SlipKind.HEAT_UNIT, "This is in British thermal units an hour; 3412 of them are a kilowatt."): (
        ("gross-heat-input-imperial", FOOT, "79660"),
    ),
    (SlipKind.INVERTED, "The ratio is upside down."): (
        ("ratio", {"of": 0.66, "to": 1.58}, "2.39"),
        ("margin", {"running": 1.58, "makes": MAKES}, "0.61"),
    ),
    (SlipKind.INVERTED, "The gross was multiplied by the ratio; dividing by it gives the net."): (
        ("net-heat-input", NET, "29.2"),
    ),
    (SlipKind.INVERTED, "The two temperatures are in each other's place."): (
        ("winding-resistance", WINDING, "44.9"),
    ),
    (SlipKind.WRONG_BASE, "This is a percentage of the later reading; one of the earlier is due."): (
        ("percentage-drop", DROP, "166.7"),
    ),
    (SlipKind.OTHER_TABLE, "This is from the table of the 12 kΩ type."): (
        ("ntc-10k-temperature", {"resistance": 6652.0}, "40.0"),
        ("ntc-10k-error", {"resistance": 6652.0, "temperature": 40.2}, "-0.2"),
    ),
    (SlipKind.OTHER_TABLE, "This is from the table of the 10 kΩ type."): (
        ("ntc-12k-resistance", {"temperature": 60.0}, "2535"),
    ),
}


@pytest.mark.parametrize(
    ("name", "figures", "text", "named"),
    [(*row, named) for named, slips in SLIPS.items() for row in slips],
)
def test_a_slip_is_named(name: str, figures: Figures, text: str, named: tuple[SlipKind, str]) -> None:
    found = explained(name, figures, text)
    assert isinstance(found, Slip)
    assert (found.kind, found.sentence) == named
    assert found.computed == CALCULATORS[name].compute(figures)


@given(order=st.permutations(MAKES), text=st.sampled_from(["0.236", "23.6", "-0.236", "0.3", "0.4"]))
def test_the_order_of_repeats_does_not_matter(order: list[float], text: str) -> None:
    shuffled = explained("hysteresis", {"makes": tuple(order), "breaks": BREAKS}, text)
    assert type(shuffled) is type(explained("hysteresis", SWITCH, text))


@pytest.mark.parametrize(
    ("text", "same"),
    [("26.3", "26300.0"), ("23.7", "23700.0"), ("263.3", "263300.0"), ("31.1", "31100.0")],
)
def test_the_unit_of_an_answer_changes_nothing_where_its_last_digit_is_converted(
    text: str, same: str
) -> None:
    calculator = CALCULATORS["gross-heat-input"]
    in_watts = Answer.typed(parse(same, quantity=Quantity.POWER, unit="W"), calculator=calculator)
    converted = Answer(value=in_watts.value, resolution=1000 * in_watts.resolution)
    assert explain(calculator, inputs=TIMED, answer=converted) == explained("gross-heat-input", TIMED, text)


def test_every_kind_of_slip_can_be_made_somewhere() -> None:
    assert {wrong.kind for each in CALCULATORS.values() for wrong in wrong_ways(each)} == set(SlipKind)


@pytest.mark.parametrize(
    ("name", "figures", "text", "kind"),
    [
        # Both the leads left on and a sign lost; both upside down and a factor of 100.
        ("without-leads", {"resistance": 0.2, "leads": 0.4}, "0.2", SlipKind.LEADS),
        ("ratio", {"of": 0.1, "to": 1.0}, "10", SlipKind.INVERTED),
    ],
)
def test_what_is_particular_to_a_calculation_is_named_first(
    name: str, figures: Figures, text: str, kind: SlipKind
) -> None:
    found = explained(name, figures, text)
    assert isinstance(found, Slip)
    assert found.kind is kind


def test_a_slip_is_named_where_it_was_made_and_what_follows_from_it_follows() -> None:
    rate = explained("gas-rate", METERED, "2400")
    assert isinstance(rate, Slip)
    assert rate.kind is SlipKind.FACTOR_1000
    gross = explained("gross-heat-input-from-rate", {"rate": 2400.0, "calorific_value": 39.5}, "26333")
    assert isinstance(gross, Follows)
    net = explained("net-from-gross", {"gross": 26333.0, "gross_to_net": 1.11}, "23723")
    assert isinstance(net, Follows)


def test_an_earlier_answer_may_be_carried_on_unrounded() -> None:
    # 2.4239 m³/h was written as 2.42 and worked on with: 26.60 kW, where 2.42 gives 26.55.
    figures = {"rate": 2.42, "calorific_value": 39.5}
    assert isinstance(explained("gross-heat-input-from-rate", figures, "26.60"), Unexplained)
    assert isinstance(
        explained("gross-heat-input-from-rate", figures, "26.60", carried={"rate": 0.01}), Follows
    )
    assert isinstance(
        explained("gross-heat-input-from-rate", figures, "26.70", carried={"rate": 0.01}), Unexplained
    )
    # The same goes for an answer with a slip in it.
    assert isinstance(explained("gross-heat-input-from-rate", figures, "26600", carried={"rate": 0.01}), Slip)


def test_repeats_carried_on_unrounded_move_a_mean_by_half_a_digit_at_most() -> None:
    figures = {"readings": (1.0, 2.0)}
    carried = {"readings": 0.1}
    assert isinstance(explained("mean", figures, "1.549", carried=carried), Follows)
    assert isinstance(explained("mean", figures, "1.552", carried=carried), Unexplained)


def test_a_table_read_by_eye_is_allowed_for() -> None:
    figures = {"resistance": 8000.0}
    exact = CALCULATORS["ntc-10k-temperature"].compute(figures)
    off = f"{exact + 0.4:.2f}"
    assert isinstance(explained("ntc-10k-temperature", figures, off), Unexplained)
    assert isinstance(explained("ntc-10k-temperature", figures, off, allowance=0.5), Follows)


def test_textbooks_may_differ_in_a_constant() -> None:
    # 3412.14 for 3412.
    exact = 3600 * 1040 / (47 * 3412.1416)
    assert isinstance(explained("gross-heat-input-imperial", FOOT, f"{exact:.6f}"), Follows)


@pytest.mark.parametrize(
    ("name", "figures", "text"),
    [
        # Cut off, or rounded the wrong way: half of the last digit is the most.
        ("gross-heat-input", TIMED, "26.4"),
        ("gross-heat-input", TIMED, "26.34"),
        ("winding-resistance", WINDING, "60.1"),
        ("margin", {"running": 1.58, "makes": MAKES}, "1.66"),
    ],
)
def test_an_answer_not_rounded_as_it_should_be_does_not_follow(
    name: str, figures: Figures, text: str
) -> None:
    assert isinstance(explained(name, figures, text), Unexplained)


@pytest.mark.parametrize("text", ["31.1", "0", "-1", "2.5", "26300"])
def test_an_answer_from_nowhere_is_not_explained(text: str) -> None:
    found = explained("gross-heat-input", TIMED, text)
    assert isinstance(found, Unexplained)
    assert found.sentence == "It doesn't follow from your own figures, and no common slip explains it."


def test_an_answer_with_no_digit_left_names_no_slip() -> None:
    # 0.26 and 0.026 are both 0 to a whole number.
    assert isinstance(explained("gross-heat-input", TIMED, "0"), Unexplained)
    assert isinstance(explained("mean", {"readings": (0.0, 0.01, 0.0)}, "0.00"), Follows)


def test_a_slip_whose_sum_cannot_be_done_is_passed_over() -> None:
    # 36 kΩ is on the one table only; a ratio of nothing has no upside down.
    found = explained("ntc-12k-temperature", {"resistance": 36000.0}, "12.3")
    assert isinstance(found, Unexplained)
    assert isinstance(explained("ratio", {"of": 0.0, "to": 1.58}, "0.5"), Unexplained)


def test_what_cannot_be_worked_out_is_refused_in_words() -> None:
    with pytest.raises(SampleError, match="The time is 0"):
        explained("gas-rate", {"volume": 0.05, "time": 0.0}, "2.4")
    with pytest.raises(SampleError, match="“OL” is no number"):
        explained("gas-rate", METERED, "OL")
    with pytest.raises(SampleError, match="The answer's last digit is 0"):
        Answer(value=1.0, resolution=0.0)
    with pytest.raises(SampleError, match="The allowance is -1"):
        explained("gas-rate", METERED, "2.4", allowance=-1.0)
