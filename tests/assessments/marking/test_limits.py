"""conforms: stated limits, guarded by the instrument's expanded uncertainty."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.marking import wording
from assessments.marking.inputs import FaultInput
from assessments.marking.readings import mark_readings
from rigs.metrology.conformity import Verdict
from tests.factories.marking import MANOMETER, attempt, reading, reading_step

STATED = {"lower": 1.2, "upper": 1.6, "unit": "mbar", "source": "maker’s plate", "dated": "2019-05"}
# At 1.6 mbar: a = 0.5 % of 160 Pa + 1 digit of 1 Pa = 1.8 Pa, u = √(1.8²/3 + 1²/12) = 1.08 Pa (GUM 4.3.7,
# F.2.2.1), U = 2u = 0.0216 mbar.


def limited(**changes):
    return reading_step("inlet", 1, "conforms", parameters={**STATED, **changes})


def marked(text, *, unit="mbar", step=None, **given):
    (marks,) = mark_readings(
        [attempt(step or limited(), readings=(reading("inlet", text, unit=unit),), **given)]
    )
    return marks[0]


def without(side):
    return reading_step(
        "inlet", 1, "conforms", parameters={name: value for name, value in STATED.items() if name != side}
    )


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("1.40", Verdict.IN_RANGE),
        ("1.23", Verdict.IN_RANGE),
        ("1.21", Verdict.BORDERLINE),  # within U of the lower limit, inside
        ("1.19", Verdict.BORDERLINE),  # within U of it, outside
        ("1.17", Verdict.OUT_OF_RANGE),
        ("1.57", Verdict.IN_RANGE),
        ("1.60", Verdict.BORDERLINE),
        ("1.63", Verdict.OUT_OF_RANGE),
        ("-1.40", Verdict.OUT_OF_RANGE),
    ],
)
def test_limits_are_guarded_by_the_expanded_uncertainty_on_both_sides(text, verdict):
    assert marked(text).verdict is verdict


@pytest.mark.parametrize(
    ("missing", "text", "verdict"),
    [
        ("upper", "1.90", Verdict.IN_RANGE),
        ("upper", "1.20", Verdict.BORDERLINE),
        ("upper", "1.10", Verdict.OUT_OF_RANGE),
        ("lower", "0.10", Verdict.IN_RANGE),
        ("lower", "1.60", Verdict.BORDERLINE),
        ("lower", "1.70", Verdict.OUT_OF_RANGE),
    ],
)
def test_a_limit_may_be_absent_on_one_side(missing, text, verdict):
    found = marked(text, step=without(missing))

    assert found.verdict is verdict
    assert getattr(found.numbers, missing) is None
    assert found.numbers.middle_expanded is None


def test_the_sentence_has_limits_uncertainty_and_source_and_the_words_have_no_digit():
    found = marked("1.40")

    assert found.sentence == (
        "Within the limits: 1.40 against 1.20 to 1.60\N{NARROW NO-BREAK SPACE}mbar, "
        "give or take 0.021\N{NARROW NO-BREAK SPACE}mbar (maker’s plate, 2019-05)."
    )
    assert found.words == "Within the limits."


def test_the_sentence_of_one_limit_says_which_it_is():
    assert (
        "1.90 against at least 1.20\N{NARROW NO-BREAK SPACE}mbar"
        in marked("1.90", step=without("upper")).sentence
    )
    assert (
        "10 against at most 160\N{NARROW NO-BREAK SPACE}Pa"
        in marked("10", unit="Pa", step=without("lower")).sentence
    )


def test_the_numbers_add_up():
    numbers = marked("1.60").numbers

    assert numbers.u == pytest.approx((1.8**2 / 3 + 1 / 12) ** 0.5)
    assert numbers.expanded == pytest.approx(2 * numbers.u, rel=1e-4)  # k = 2.00 at 95.45 %
    assert (numbers.lower, numbers.upper) == pytest.approx((120, 160))
    # Half of a normal distribution about the upper limit lies below it (JCGM 106, 7.3).
    assert numbers.probability == pytest.approx(0.5)
    assert marked("1.40").numbers.probability == pytest.approx(1)
    assert marked("1.80").numbers.probability == pytest.approx(0, abs=1e-9)


class TestAnInstrumentThatCannotTell:
    # U = 0.0205 mbar at 1.4 mbar.
    @pytest.mark.parametrize(("half_range", "judged"), [(0.021, True), (0.020, False), (0.005, False)])
    def test_it_is_told_by_half_of_the_range(self, half_range, judged):
        step = limited(lower=1.4 - half_range, upper=1.4 + half_range)

        found = marked("1.40", step=step)

        assert (found.verdict is not Verdict.CANNOT_JUDGE) == judged

    @pytest.mark.parametrize("text", ["1.40", "1.41", "9.99"])
    def test_no_reading_can_be_judged_by_it_and_it_says_so(self, text):
        found = marked(text, step=limited(lower=1.395, upper=1.405))

        assert found.verdict is Verdict.CANNOT_JUDGE
        assert found.words == wording.TOO_COARSE
        assert "0.021\N{NARROW NO-BREAK SPACE}mbar; half of the range is 0.005" in found.sentence
        assert found.numbers.middle_expanded > 0.5

    def test_a_reading_far_off_does_not_make_a_good_instrument_unsuitable(self):
        # At 19 mbar U is 0.12 mbar, wider than half of the range; where the limits are, it isn't.
        found = marked("19.00", step=limited(lower=1.35, upper=1.45))

        assert found.verdict is Verdict.OUT_OF_RANGE

    def test_where_the_display_does_not_reach_the_middle_the_reading_itself_tells(self):
        found = marked("19.00", step=limited(lower=10.0, upper=60.0))

        assert found.verdict is Verdict.IN_RANGE
        assert found.numbers.middle_expanded == pytest.approx(found.numbers.expanded)

    def test_one_limit_can_always_be_told(self):
        assert marked("1.20", step=without("upper")).verdict is Verdict.BORDERLINE


@pytest.mark.parametrize(
    ("text", "said"),
    [("OL", wording.NUMBER_DUE), ("25.00", wording.BEYOND_DISPLAY), ("1.40", wording.FAULT_SET)],
)
def test_what_cannot_be_judged_says_why(text, said):
    fault = (
        FaultInput(slug="h-tube-off", label="Tube off", conclusion="elsewhere") if text == "1.40" else None
    )

    found = marked(text, fault=fault)

    assert (found.verdict, found.sentence) == (Verdict.CANNOT_JUDGE, said)


class TestAThermistor:
    """Judged by its error in °C, against a reference thermometer."""

    REFERENCE = reading_step(
        "reference",
        1,
        "conforms",
        parameters={"lower": 0, "unit": "°C", "source": "invented", "dated": "2025"},
        title="Reference thermometer",
    )
    SENSOR = reading_step(
        "sensor",
        2,
        "conforms",
        parameters={
            "lower": -1,
            "upper": 1,
            "unit": "°C",
            "source": "maker’s R–T table",
            "dated": "2020",
            "calculator": "ntc-10k-error",
            "inputs": {"resistance": "sensor", "temperature": "reference"},
        },
        title="Sensor",
    )

    def marked(self, celsius, resistance, unit="kΩ"):
        readings = [reading("sensor", resistance, unit=unit)]
        if celsius:
            readings.append(reading("reference", celsius, unit="°C"))
        (marks,) = mark_readings([attempt(self.REFERENCE, self.SENSOR, readings=tuple(readings))])
        return marks[-1]

    # Maker's R–T table, as published: 12 474 Ω at 20 °C, 5372 Ω at 40 °C, 2535 Ω at 60 °C.
    @pytest.mark.parametrize(
        ("celsius", "resistance", "verdict"),
        [
            ("20.0", "12.47", Verdict.IN_RANGE),
            ("20.0", "12.90", Verdict.BORDERLINE),  # 0.75 °C too cold
            ("20.0", "13.60", Verdict.OUT_OF_RANGE),  # 1.9 °C too cold
            ("60.0", "2.54", Verdict.IN_RANGE),
            # 90 Ω off is 0.2 °C at 20 °C, and 1 °C at 60 °C.
            ("20.0", "12.56", Verdict.IN_RANGE),
            ("60.0", "2.63", Verdict.BORDERLINE),
            ("40.0", "6.65", Verdict.OUT_OF_RANGE),  # as the 12 kΩ type has it
        ],
    )
    def test_the_error_in_celsius_is_held_against_the_limits(self, celsius, resistance, verdict):
        assert self.marked(celsius, resistance).verdict is verdict

    def test_both_instruments_count(self):
        numbers = self.marked("40.0", "5.37").numbers

        resistance, temperature = numbers.calculation.figures
        assert numbers.u == pytest.approx((resistance.share**2 + temperature.share**2) ** 0.5)
        # 3 digits of 0.1 °C and half a digit: √(0.3²/3 + 0.1²/12).
        assert temperature.share == pytest.approx((0.03 + 0.01 / 12) ** 0.5)
        # 1 °C is about 4 % of R at 40 °C.
        assert resistance.share == pytest.approx(resistance.u / (0.0396 * 5372), rel=0.02)

    def test_the_sentence_is_in_celsius(self):
        assert (
            "against -1.00 to 1.00\N{NARROW NO-BREAK SPACE}°C, give or take"
            in self.marked("40.0", "5.30").sentence
        )

    @pytest.mark.parametrize(
        ("celsius", "resistance", "why"),
        [
            ("", "5.37", wording.NOTHING_TO_COMPARE),
            ("OL", "5.37", "Your own “Reference thermometer” is no number"),
            ("40.0", "0.37", "370 Ω is outside the table of the 10 kΩ type"),
        ],
    )
    def test_what_cannot_be_worked_out_says_why(self, celsius, resistance, why):
        found = self.marked(celsius, resistance)

        assert found.verdict is Verdict.CANNOT_JUDGE
        assert why in found.sentence


def test_limits_of_a_plain_number_have_no_unit():
    make = reading_step("make", 1, "conforms", parameters={**STATED, "lower": 0.0})
    running = reading_step(
        "running",
        2,
        "conforms",
        parameters={
            "lower": 1.1,
            "unit": "1",
            "source": "invented",
            "dated": "2025",
            "calculator": "margin",
            "inputs": {"running": "running", "makes": ["make"]},
        },
    )

    (marks,) = mark_readings(
        [attempt(make, running, readings=(reading("make", "0.96"), reading("running", "158", unit="Pa")))]
    )

    # 1.58/0.96 = 1.646; u = √((0.0107/0.96)² + (0.0090·1.646/0.96)²) = 0.0191, doubled and rounded up.
    assert marks[1].verdict is Verdict.IN_RANGE
    assert "1.646 against at least 1.100, give or take 0.039 (invented, 2025)" in marks[1].sentence


VERDICTS = [Verdict.IN_RANGE, Verdict.BORDERLINE, Verdict.OUT_OF_RANGE]


@given(hundredths=st.integers(0, 400), wider=st.floats(0, 1))
def test_wider_limits_never_turn_a_pass_into_a_fail(hundredths, wider):
    text = f"{hundredths / 100:.2f}"

    before = marked(text).verdict
    after = marked(text, step=limited(lower=1.2 - wider, upper=1.6 + wider)).verdict

    assert VERDICTS.index(after) <= VERDICTS.index(before)


@given(pascals=st.integers(0, 400), limits_in=st.sampled_from(["mbar", "Pa", "kPa"]))
def test_no_unit_changes_a_verdict(pascals, limits_in):
    factor = {"mbar": 1, "Pa": 100, "kPa": 0.1}[limits_in]
    step = limited(lower=1.2 * factor, upper=1.6 * factor, unit=limits_in)

    in_mbar = marked(f"{pascals / 100:.2f}")
    in_pascal = marked(str(pascals), unit="Pa", step=step)

    assert in_mbar.verdict is in_pascal.verdict
    assert in_mbar.numbers.probability == pytest.approx(in_pascal.numbers.probability, abs=1e-9)


@given(st.integers(0, 400), st.sampled_from(["0", "1", "2"]))
def test_a_coarser_instrument_never_finds_more_in_range(hundredths, worse):
    spec = replace(MANOMETER.spec.ranges[0], percent_reading=0.5 + float(worse))
    coarse = replace(MANOMETER, spec=replace(MANOMETER.spec, ranges=(spec,)))
    text = f"{hundredths / 100:.2f}"

    if marked(text, instruments=(coarse,)).verdict is Verdict.IN_RANGE:
        assert marked(text).verdict is Verdict.IN_RANGE
