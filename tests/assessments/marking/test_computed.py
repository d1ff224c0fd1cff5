"""computed: the candidate's own working, from their own earlier figures, at their own rounding."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.marking import wording
from assessments.marking.inputs import FaultInput
from assessments.marking.readings import mark_readings
from rigs.metrology.computed.registry import CALCULATORS
from rigs.metrology.conformity import Verdict
from rigs.metrology.quantities import Qualifier
from tests.factories.marking import attempt, reading, reading_step, said

LOWEST = {"lower": -1e9, "source": "invented", "dated": "2025"}


def read(slug, unit):
    return reading_step(slug, 1, "conforms", parameters={**LOWEST, "unit": unit}, title=slug.capitalize())


def computed(slug, calculator, *, allowance=0.0, **inputs):
    parameters = {"calculator": calculator, "inputs": inputs, "allowance": allowance}
    return reading_step(slug, 9, "computed", parameters=parameters, title=slug.capitalize())


def marked(*steps, **texts):
    """The marks by step; each text is a figure with its unit."""
    readings = [
        reading(slug.replace("_", "-"), figure, unit=unit)
        for slug, (figure, _, unit) in ((slug, text.partition(" ")) for slug, text in texts.items())
    ]
    (marks,) = mark_readings([attempt(*steps, readings=tuple(readings))])
    return {mark.step: mark for mark in marks}


VOLUME, TIME = read("volume", "m³"), read("time", "s")
RATE = computed("rate", "gas-rate", volume="volume", time="time")
GROSS = computed("gross", "gross-heat-input-from-rate", rate="rate", calorific_value=39.5)
NET = computed("net", "net-from-gross", gross="gross", gross_to_net=1.11)
GAS = (VOLUME, TIME, RATE, GROSS, NET)
# 0.05 m³ in 75 s is 2.40 m³/h, 26.3 kW gross, 23.7 kW net (common practice, no source).
WORKED = {"volume": "0.050 m³", "time": "75 s", "rate": "2.40 m³/h", "gross": "26.3 kW", "net": "23.7 kW"}


def verdicts(**changes):
    found = marked(*GAS, **{**WORKED, **changes})
    return [found[slug].verdict for slug in ("rate", "gross", "net")]


def test_answers_that_follow_are_in_range():
    assert verdicts() == [Verdict.IN_RANGE] * 3


@pytest.mark.parametrize("text", ["26.3 kW", "26 kW", "26.33 kW", "26333 W"])
def test_an_answer_is_judged_at_its_own_rounding_in_whichever_unit(text):
    assert verdicts(gross=text)[1] is Verdict.IN_RANGE


def test_a_digit_that_is_wrong_at_the_answers_own_rounding_does_not_follow():
    # The rate, 2.40, may have been anything from 2.395 to 2.405: 26.28 to 26.39 kW.
    assert verdicts(gross="26.38 kW")[1] is Verdict.IN_RANGE
    assert verdicts(gross="26.41 kW")[1] is Verdict.OUT_OF_RANGE


def test_one_slip_is_counted_once():
    # Litres for m³ in the rate; what is worked out from that rate still follows.
    assert verdicts(rate="2400 m³/h", gross="26333 kW", net="23724 kW") == [
        Verdict.OUT_OF_RANGE,
        Verdict.IN_RANGE,
        Verdict.IN_RANGE,
    ]


def test_what_is_right_in_itself_but_does_not_follow_is_out():
    assert verdicts(rate="2400 m³/h")[:2] == [Verdict.OUT_OF_RANGE, Verdict.OUT_OF_RANGE]


def test_an_earlier_answer_may_be_carried_on_unrounded():
    # 0.05 m³ in 77 s is 2.3377 m³/h and 25.65 kW; from 2.3 as written it would be 25.24 kW.
    found = marked(*GAS[:4], volume="0.050 m³", time="77 s", rate="2.3 m³/h", gross="25.65 kW")

    assert found["gross"].verdict is Verdict.IN_RANGE


@pytest.mark.parametrize(
    ("slug", "text", "slip", "sentence"),
    [
        ("rate", "2400 m³/h", "factor-1000", "1000 times too large, as if litres were cubic metres."),
        (
            "rate",
            "8640 m³/h",
            "hours-for-seconds",
            "The time was put in as hours; the formula takes seconds.",
        ),
        ("gross", "94.8 kW", "heat-unit", "This is in megajoules an hour; 3.6 of them are a kilowatt."),
        ("gross", "23.7 kW", "net-for-gross", "This is the net figure; the gross is due."),
        ("net", "26.3 kW", "gross-for-net", "This is the gross figure; the net is due."),
        ("net", "-23.7 kW", "sign", "The size is right and the sign is wrong."),
        ("gross", "31.0 kW", "", "It doesn't follow from your own figures, and no common slip explains it."),
    ],
)
def test_a_slip_is_named(slug, text, slip, sentence):
    found = marked(*GAS, **{**WORKED, slug: text})[slug]

    assert found.verdict is Verdict.OUT_OF_RANGE
    assert found.words == sentence
    assert found.sentence.startswith(f"{sentence} Your answer is ")
    assert found.numbers.slip == slip


def test_the_sentence_has_the_answer_and_what_it_should_be_to_a_digit_more_in_the_typed_unit():
    narrow = "\N{NARROW NO-BREAK SPACE}"

    assert marked(*GAS, **WORKED)["gross"].sentence == (
        f"It follows from your own figures. Your answer is 26.3{narrow}kW; they come to 26.33{narrow}kW."
    )
    assert (
        f"26333{narrow}W; they come to 26333.3{narrow}W"
        in marked(*GAS, **{**WORKED, "gross": "26333 W"})["gross"].sentence
    )


def test_repeats_of_one_input_are_listed():
    makes = [read(f"make-{number}", "mbar") for number in (1, 2)]
    breaks = [read(f"break-{number}", "mbar") for number in (1, 2)]
    hysteresis = computed(
        "hysteresis", "hysteresis", makes=["make-1", "make-2"], breaks=["break-1", "break-2"]
    )
    written = {"make_1": "0.95 mbar", "make_2": "97 Pa", "break_1": "0.72 mbar", "break_2": "0.72 mbar"}

    found = marked(*makes, *breaks, hysteresis, **written, hysteresis="24 Pa")["hysteresis"]

    assert found.verdict is Verdict.IN_RANGE
    assert [figure.values for figure in found.numbers.calculation.figures] == [(0.95, 0.97), (0.72, 0.72)]


@pytest.mark.parametrize(
    ("calculator", "unit", "inputs", "answer"),
    [
        ("mean", "mbar", {"readings": ["first", "second"]}, "1.10 mbar"),
        ("difference", "mbar", {"high": "first", "low": "second"}, "1.00 mbar"),
        ("difference", "Ω", {"high": "first", "low": "second"}, "1.00 Ω"),
        ("ratio", "Ω", {"of": "first", "to": "second"}, "2.7 1"),
        ("percentage-drop", "mbar", {"before": "first", "after": "second"}, "62.5 %"),
    ],
)
def test_a_calculator_of_any_quantity_takes_that_of_its_readings(calculator, unit, inputs, answer):
    steps = read("first", unit), read("second", unit), computed("answer", calculator, **inputs)
    texts = {"first": f"1.60 {unit}", "second": f"0.60 {unit}", "answer": answer}

    assert marked(*steps, **texts)["answer"].verdict is Verdict.IN_RANGE


def test_pascals_for_millibar_are_seen_in_a_mean():
    steps = (
        read("first", "mbar"),
        read("second", "mbar"),
        computed("mean", "mean", readings=["first", "second"]),
    )

    found = marked(*steps, first="1.57 mbar", second="1.59 mbar", mean="158 mbar")["mean"]

    assert found.numbers.slip == "factor-100"


def test_leads_not_taken_off_are_named():
    steps = (
        read("across", "Ω"),
        read("leads", "Ω"),
        computed("net", "without-leads", resistance="across", leads="leads"),
    )

    found = marked(*steps, across="0.7 Ω", leads="0.3 Ω", net="0.7 Ω")["net"]

    assert found.words == "The leads have not been taken off."


class TestThermistors:
    """Judged by the error in °C. Maker's R–T table, as published: 5372 Ω at 40 °C, 2535 Ω at 60 °C."""

    BATH = read("bath", "°C")

    def resistance(self, bath, answer, *, calculator="ntc-10k-resistance", **inputs):
        step = computed("sensor", calculator, temperature="bath", allowance=1.0, **inputs)
        return marked(self.BATH, step, bath=f"{bath} °C", sensor=answer)["sensor"]

    @pytest.mark.parametrize(
        ("bath", "answer", "verdict"),
        [
            ("40.0", "5372 Ω", Verdict.IN_RANGE),
            ("40.0", "5.20 kΩ", Verdict.IN_RANGE),  # 0.8 °C too warm
            ("40.0", "5.10 kΩ", Verdict.OUT_OF_RANGE),  # 1.3 °C too warm
            # 150 Ω are 0.7 °C at 40 °C and 1.6 °C at 60 °C.
            ("40.0", "5222 Ω", Verdict.IN_RANGE),
            ("60.0", "2685 Ω", Verdict.OUT_OF_RANGE),
            ("60.0", "2465 Ω", Verdict.IN_RANGE),
            ("40.0", "100 kΩ", Verdict.OUT_OF_RANGE),  # off the table
        ],
    )
    def test_a_resistance_is_as_far_off_as_its_temperature_is(self, bath, answer, verdict):
        assert self.resistance(bath, answer).verdict is verdict

    def test_the_error_is_kept_in_celsius(self):
        assert self.resistance("40.0", "5372 Ω").numbers.celsius_error == pytest.approx(0, abs=1e-9)
        assert self.resistance("40.0", "6652 Ω").numbers.celsius_error == pytest.approx(-5.33, abs=0.01)
        assert self.resistance("40.0", "100 kΩ").numbers.celsius_error is None

    def test_the_wrong_table_is_named(self):
        assert self.resistance("40.0", "6652 Ω").words == "This is from the table of the 12 kΩ type."

    def test_a_b_value_and_platinum_are_judged_in_celsius_too(self):
        by_b = self.resistance("40.0", "5.5 kΩ", calculator="ntc-b-resistance", nominal=10000, b=3950)
        platinum = self.resistance("40.0", "115.8 Ω", calculator="pt100-resistance")

        # IEC 60751: 115.54 Ω at 40 °C, 0.385 Ω a degree.
        assert platinum.numbers.celsius_error == pytest.approx((115.8 - 115.54) / 0.387, abs=0.02)
        assert (by_b.verdict, platinum.verdict) == (Verdict.IN_RANGE, Verdict.IN_RANGE)

    @pytest.mark.parametrize(
        ("answer", "verdict"),
        [("40.0 °C", Verdict.IN_RANGE), ("40.9 °C", Verdict.IN_RANGE), ("42.1 °C", Verdict.OUT_OF_RANGE)],
    )
    def test_a_temperature_read_from_the_table_has_the_tasks_allowance(self, answer, verdict):
        step = computed("warm", "ntc-10k-temperature", resistance="sensor", allowance=1.0)

        assert marked(read("sensor", "Ω"), step, sensor="5372 Ω", warm=answer)["warm"].verdict is verdict

    def test_an_error_is_a_difference_of_temperatures(self):
        step = computed("error", "ntc-10k-error", resistance="sensor", temperature="bath")
        steps = self.BATH, read("sensor", "Ω"), step

        found = marked(*steps, bath="40.5 °C", sensor="5372 Ω", error="-0.5 °C")["error"]
        in_kelvin = marked(*steps, bath="40.5 °C", sensor="5372 Ω", error="-0.5 K")["error"]

        assert found.verdict is in_kelvin.verdict is Verdict.IN_RANGE
        assert "they come to −0.50\N{NARROW NO-BREAK SPACE}°C" in found.sentence


class TestWhatCannotBeWorkedOut:
    def test_an_earlier_figure_that_is_missing(self):
        written = {slug: text for slug, text in WORKED.items() if slug != "time"}

        assert marked(*GAS, **written)["rate"].sentence == wording.NOTHING_TO_COMPARE

    def test_an_earlier_figure_that_is_no_number(self):
        (marks,) = mark_readings(
            [
                attempt(
                    VOLUME,
                    TIME,
                    RATE,
                    readings=(
                        reading("volume", "0.050", unit="m³"),
                        said("time", Qualifier.NOT_OBTAINED, unit="s"),
                        reading("rate", "2.40", unit="m³/h"),
                    ),
                )
            ]
        )

        assert marks[-1].sentence == "Your own “Time” is no number, so nothing can be compared with it."

    def test_figures_that_nothing_can_be_worked_out_from(self):
        found = marked(*GAS, **{**WORKED, "time": "0 s"})["rate"]

        assert found.verdict is Verdict.CANNOT_JUDGE
        assert found.sentence == (
            "It can't be worked out from your own figures. The time is 0. Give a number above zero."
        )

    def test_an_answer_that_is_no_number(self):
        assert marked(*GAS, **{**WORKED, "rate": "OL m³/h"})["rate"].sentence == wording.NUMBER_DUE

    def test_an_answer_whose_rounding_is_not_known(self):
        rate = reading("rate", "2.40", unit="m³/h")._replace(si_resolution=None)
        others = reading("volume", "0.050", unit="m³"), reading("time", "75", unit="s")

        (marks,) = mark_readings([attempt(VOLUME, TIME, RATE, readings=(*others, rate))])

        assert marks[-1].verdict is Verdict.CANNOT_JUDGE


def test_it_needs_no_instrument_and_no_healthy_rig():
    fault = FaultInput(slug="h-tube-off", label="Tube off", conclusion="elsewhere")
    readings = (
        reading("volume", "0.050", unit="m³"),
        reading("time", "75", unit="s"),
        reading("rate", "2.40", unit="m³/h"),
    )

    (marks,) = mark_readings([attempt(VOLUME, TIME, RATE, readings=readings, instruments=(), fault=fault)])

    assert marks[-1].verdict is Verdict.IN_RANGE


@given(litres=st.integers(1, 9999), seconds=st.integers(1, 3600), decimals=st.integers(0, 4))
def test_an_answer_rounded_to_any_digits_follows(litres, seconds, decimals):
    rate = CALCULATORS["gas-rate"].compute({"volume": litres / 1000, "time": float(seconds)})

    found = marked(
        VOLUME,
        TIME,
        RATE,
        volume=f"{litres / 1000:.3f} m³",
        time=f"{seconds} s",
        rate=f"{rate:.{decimals}f} m³/h",
    )

    assert found["rate"].verdict is Verdict.IN_RANGE


@given(litres=st.integers(10, 9999), seconds=st.integers(1, 3600))
def test_no_unit_of_what_was_read_changes_a_verdict(litres, seconds):
    answer = {"rate": "2.40 m³/h"}

    in_si = marked(VOLUME, TIME, RATE, volume=f"{litres / 1000:.3f} m³", time=f"{seconds} s", **answer)
    in_litres = marked(VOLUME, TIME, RATE, volume=f"{litres} l", time=f"{seconds} s", **answer)

    assert in_si["rate"].verdict is in_litres["rate"].verdict
    assert in_si["rate"].words == in_litres["rate"].words
