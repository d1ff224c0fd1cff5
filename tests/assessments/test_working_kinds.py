"""The workings of all kinds of check but 'agrees': each can be done again by hand from its own figures."""

import math
import operator
import re
from itertools import pairwise

import pytest

from assessments.marking.mark import mark
from assessments.marking.results import ReadingMark
from assessments.working.kinds import working_of
from rigs.metrology.conformity import Verdict
from tests.factories.marking import attempt, reading, reading_step

LIMITS = {"lower": 1.2, "upper": 1.6, "unit": "mbar", "source": "maker’s plate", "dated": "2019-05"}
PLATE = reading_step("plate", 1, "conforms", parameters=LIMITS)
FIRST = reading_step("first", 1, "agrees", measurand="taps/fan-running", title="First")
SECOND = reading_step("second", 2, "agrees", measurand="taps/fan-running", title="Second")
LEADS = reading_step("leads", 1, "leads", expected=("closed",))
BATH = reading_step("bath", 1, "conforms", title="Bath", parameters={**LIMITS, "upper": 90, "unit": "°C"})


def marked(*steps, **texts) -> ReadingMark:
    """The mark of the last step; each text is a figure with its unit."""
    readings = tuple(
        reading(slug, figure, unit=unit)
        for slug, (figure, _, unit) in ((slug, text.partition(" ")) for slug, text in texts.items())
    )
    return mark(attempt(*steps, readings=readings)).marks[-1]


def lines(found: ReadingMark) -> dict[str, str]:
    return {
        line.symbol or line.label: line.figure.replace("\N{NARROW NO-BREAK SPACE}", " ")
        for line in working_of(found)
    }


def number(figure: str) -> float:
    found = re.match(r"[−-]?[\d.]+", figure)
    assert found is not None
    return float(found.group().replace("−", "-"))


def compared(rule: str) -> bool:
    """Whether a rule, read as it is written, is true."""
    tokens = re.findall(r"[−-]?\d[\d.]*|[≤≥<>]", re.sub(r"(?<=\d)\s(?=\d)", "", rule))
    values = [float(token.replace("−", "-")) for token in tokens[::2]]
    signs = {"≤": operator.le, "≥": operator.ge, "<": operator.lt, ">": operator.gt}
    steps = zip(tokens[1::2], pairwise(values), strict=True)
    return all(signs[sign](one, other) for sign, (one, other) in steps)


class TestLimits:
    @pytest.mark.parametrize(
        ("text", "verdict", "rule"),
        [
            ("1.40 mbar", Verdict.IN_RANGE, "1.2205 ≤ 1.4000 ≤ 1.5795 mbar"),
            ("1.59 mbar", Verdict.BORDERLINE, "1.5785 ≤ 1.5900 ≤ 1.6215 mbar"),
            ("1.21 mbar", Verdict.BORDERLINE, "1.18059 ≤ 1.21000 ≤ 1.21941 mbar"),
            ("1.70 mbar", Verdict.OUT_OF_RANGE, "1.7000 > 1.6221 mbar"),
            ("1.00 mbar", Verdict.OUT_OF_RANGE, "1.00000 < 1.18174 mbar"),
            ("140 Pa", Verdict.IN_RANGE, "122.05 ≤ 140.00 ≤ 157.95 Pa"),
        ],
    )
    def test_the_rule_is_written_with_its_figures(self, text, verdict, rule):
        found = marked(PLATE, plate=text)

        assert found.verdict is verdict
        assert compared(rule)
        written = [line.figure for line in working_of(found) if line.label == "Rule"]
        assert [each.replace("\N{NARROW NO-BREAK SPACE}", " ") for each in written] == [rule]

    def test_limits_uncertainty_and_probability_are_there(self):
        found = {line.label: line for line in working_of(marked(PLATE, plate="1.59 mbar"))}

        assert found["Limits"].figure == "1.2 to 1.6\N{NARROW NO-BREAK SPACE}mbar"
        assert found["Limits"].source == "maker’s plate, 2019-05"
        # a = 0.5 % of 1.59 + 0.01 = 0.01795; u = √(a²/3 + 0.01²/12) = 0.0108; U = 2u.
        assert found["Half-width of that here"].figure.startswith("0.0180")
        assert found["Uncertainty of the instrument"].figure.startswith("0.0108")
        assert found["Expanded uncertainty"].figure.startswith("0.0215")
        # Φ((1.6 − 1.59)/0.01076) = Φ(0.929), from a table of the normal distribution.
        assert found["Probability of conformity"].figure == "82.4 %"

    def test_certainty_is_never_written(self):
        shown = [
            {line.label: line for line in working_of(marked(PLATE, plate=text))}[
                "Probability of conformity"
            ].figure
            for text in ("1.40 mbar", "1.80 mbar", "1.57 mbar")
        ]

        assert shown == ["more than 99.999 %", "less than 0.001 %", "99.7 %"]

    @pytest.mark.parametrize(
        ("missing", "text", "stated", "rule"),
        [
            ("upper", "1.40 mbar", "at least 1.2 mbar", r"1\.4\d* ≥ 1\.22\d* mbar"),
            ("lower", "1.40 mbar", "at most 1.6 mbar", r"1\.4\d* ≤ 1\.57\d* mbar"),
        ],
    )
    def test_one_limit(self, missing, text, stated, rule):
        step = reading_step(
            "plate",
            1,
            "conforms",
            parameters={name: each for name, each in LIMITS.items() if name != missing},
        )
        found = {
            line.label: line.figure.replace("\N{NARROW NO-BREAK SPACE}", " ")
            for line in working_of(marked(step, plate=text))
        }

        assert found["Limits"] == stated
        assert re.fullmatch(rule, found["Rule"])
        assert "Can the instrument tell?" not in found

    def test_an_instrument_that_cannot_tell_is_shown_by_its_figures(self):
        step = reading_step("plate", 1, "conforms", parameters={**LIMITS, "lower": 1.39, "upper": 1.41})

        found = {line.label: line.figure for line in working_of(marked(step, plate="1.40 mbar"))}

        assert found["Can the instrument tell?"].startswith("0.0205 > 0.0100")
        assert "Rule" not in found and "Probability of conformity" not in found

    def test_a_result_shows_its_formula_and_the_candidates_figures(self):
        sensor = reading_step(
            "sensor",
            2,
            "conforms",
            title="Sensor",
            parameters={
                **LIMITS,
                "lower": -1,
                "upper": 1,
                "unit": "°C",
                "calculator": "ntc-10k-error",
                "inputs": {"resistance": "sensor", "temperature": "bath"},
            },
        )
        working = {
            line.label: line for line in working_of(marked(BATH, sensor, bath="40.0 °C", sensor="5.30 kΩ"))
        }

        assert working["Formula"].figure.startswith("error = temperature from the table")
        assert (working["Resistance"].figure, working["Resistance"].source) == (
            "5300\N{NARROW NO-BREAK SPACE}Ω",
            "your own “Sensor”",
        )
        assert working["Temperature"].source == "your own “Bath”"
        shares = [
            number(working[f"Uncertainty through the {each}"].figure)
            for each in ("resistance", "temperature")
        ]
        assert number(working["Combined"].figure) == pytest.approx(math.hypot(*shares), abs=0.002)
        assert working["Rule"].figure.endswith("°C")


class TestContacts:
    CONTACT = reading_step(
        "contact",
        2,
        "contact",
        measurand="contacts/fan-running",
        parameters={"leads": "leads"},
        title="Contact",
    )

    @pytest.mark.parametrize(
        ("text", "verdict", "symbol"),
        [
            ("0.4 Ω", Verdict.IN_RANGE, "R(c) + U"),
            ("1.2 Ω", Verdict.BORDERLINE, "R(c) ± U"),
            ("12.0 Ω", Verdict.OUT_OF_RANGE, "R(c) − U"),
            ("2.5 MΩ", Verdict.OUT_OF_RANGE, "R"),
        ],
    )
    def test_the_rule_can_be_checked(self, text, verdict, symbol):
        found = marked(LEADS, self.CONTACT, leads="0.2 Ω", contact=text)
        (rule,) = (line for line in working_of(found) if line.label == "Rule")

        assert (found.verdict, rule.symbol) == (verdict, symbol)
        assert compared(rule.figure)

    def test_leads_are_taken_off_with_their_uncertainty(self):
        by = lines(marked(LEADS, self.CONTACT, leads="0.2 Ω", contact="0.4 Ω"))

        assert number(by["R(c)"]) == pytest.approx(number(by["R"]) - number(by["R(l)"]))
        assert number(by["U"]) == pytest.approx(
            2 * math.hypot(number(by["u(R)"]), number(by["u(l)"])), abs=0.002
        )

    def test_over_the_limit_there_is_a_state_and_no_figure(self):
        by = lines(marked(LEADS, self.CONTACT, leads="0.2 Ω", contact="OL Ω"))

        assert by == {"R": "OL", "State": "open"}

    def test_leads_by_themselves_have_nothing_taken_off(self):
        assert "R(l)" not in lines(marked(LEADS, leads="0.2 Ω"))

    def test_a_change_shows_the_contact_before_and_now(self):
        change = reading_step(
            "now",
            3,
            "changes",
            measurand="contacts/fan-running",
            parameters={"of": "contact", "leads": "leads"},
        )
        found = {
            line.label: line
            for line in working_of(
                marked(LEADS, self.CONTACT, change, leads="0.2 Ω", contact="OL Ω", now="0.4 Ω")
            )
        }

        assert found["Before: reading"].source == "your own “Contact”"
        assert (found["Before: state"].figure, found["Now: state"].figure) == ("open", "closed")
        assert found["Rule"].figure == "open → closed"


class TestRelations:
    @pytest.mark.parametrize("after", ["0.03 mbar", "0.31 mbar", "1.20 mbar", "3 Pa"])
    def test_a_fall(self, after):
        fall = reading_step("fall", 3, "falls", parameters={"of": "first", "percent": 80})
        by = lines(marked(FIRST, fall, first="1.58 mbar", fall=after))

        scale = 100 if after.endswith("Pa") else 1
        limit, y2 = number(by["y₁·(1 − p/100)"]), number(after)
        assert limit == pytest.approx(0.2 * 1.58 * scale, rel=1e-3)
        rule = next(
            line.figure
            for line in working_of(marked(FIRST, fall, first="1.58 mbar", fall=after))
            if line.label == "Rule"
        )
        assert compared(rule)
        assert number(rule) == pytest.approx(limit - y2, rel=0.02)
        u1, u2 = number(by["u₁"]), number(by["u₂"])
        assert number(by["U"]) == pytest.approx(2 * math.hypot(0.2 * u1, u2), rel=0.02)

    def test_a_reversal(self):
        crossed = reading_step("crossed", 3, "reverses", parameters={"of": "first"}, title="Crossed")
        by = lines(marked(FIRST, crossed, first="1.58 mbar", crossed="-0.01 mbar"))

        assert compared(by["|y₁|"]) and ">" in by["|y₁|"]
        assert compared(by["|y₂|"]) and "≤" in by["|y₂|"]

    @pytest.mark.parametrize("across", ["1.58 mbar", "1.54 mbar", "1.37 mbar"])
    def test_a_closure(self, across):
        closes = reading_step("across", 3, "closes", parameters={"high": "first", "low": "second"})
        by = lines(marked(FIRST, SECOND, closes, first="0.66 mbar", second="-0.92 mbar", across=across))

        assert number(by["pH − pL"]) == pytest.approx(1.58)
        parts = (number(by[symbol]) for symbol in ("uH", "uL", "uΔ"))
        assert number(by["u"]) == pytest.approx(math.hypot(*parts), abs=2e-4)
        assert number(by["U"]) == pytest.approx(2 * number(by["u"]), abs=2e-4)
        assert compared(by["|yΔ − (pH − pL)|"])

    @pytest.mark.parametrize("third", ["1.64 mbar", "1.65 mbar", "1.70 mbar"])
    def test_repeats(self, third):
        repeats = reading_step(
            "third", 3, "repeats", measurand="taps/fan-running", parameters={"of": ["first", "second"]}
        )
        found = marked(FIRST, SECOND, repeats, first="1.58 mbar", second="1.60 mbar", third=third)
        by = lines(found)

        assert number(by["f·s"]) == pytest.approx(number(by["f(3)"]) * number(by["s"]), abs=2e-4)
        assert number(by["f′·s"]) == pytest.approx(number(by["f′"]) * number(by["s"]), abs=2e-4)
        rule = next(line.figure for line in working_of(found) if line.label == "Rule")
        assert compared(rule)

    @pytest.mark.parametrize(("text", "sign"), [("0.00 mbar", "≤"), ("-0.01 mbar", "≤"), ("2 Pa", ">")])
    def test_a_zero(self, text, sign):
        by = lines(marked(reading_step("zero", 1, "zero"), zero=text))

        assert sign in by["|y|"] and compared(by["|y|"])


class TestComputed:
    TIME = reading_step("time", 1, "conforms", title="Time", parameters={**LIMITS, "upper": 900, "unit": "s"})
    HEAT = reading_step(
        "heat",
        2,
        "computed",
        parameters={
            "calculator": "gross-heat-input",
            "inputs": {"volume": 0.05, "time": "time", "calorific_value": 39.5},
        },
    )

    @pytest.mark.parametrize("answer", ["26.3 kW", "26 kW", "94.8 kW"])
    def test_the_formula_is_there_with_the_candidates_figures(self, answer):
        found = marked(self.TIME, self.HEAT, time="75 s", heat=answer)
        working = {line.label: line for line in working_of(found)}

        assert working["Formula"].figure == "gross = 3600 × volume × calorific value ÷ (time × 3.6)"
        assert (working["Time"].figure, working["Time"].source) == (
            "75\N{NARROW NO-BREAK SPACE}s",
            "your own “Time”",
        )
        assert working["Gross calorific value"].figure == "39.5\N{NARROW NO-BREAK SPACE}MJ/m³"
        assert working["Gross calorific value"].source == "given by the task"
        by_hand = 3600 * 0.05 * 39.5 / (75 * 3.6)
        assert number(working["What follows"].figure) == pytest.approx(by_hand, abs=0.05)
        assert number(working["Rule"].figure) == pytest.approx(abs(number(answer) - by_hand), abs=0.01)
        assert compared(working["Rule"].figure)

    @pytest.mark.parametrize(
        ("answer", "symbol"), [("5300 Ω", "|e|"), ("5000 Ω", "|e|"), ("5.4 kΩ", "|e|"), ("100 kΩ", "|y − x|")]
    )
    def test_a_thermistors_rule_is_in_celsius(self, answer, symbol):
        table = reading_step(
            "table",
            2,
            "computed",
            parameters={
                "calculator": "ntc-10k-resistance",
                "inputs": {"temperature": "bath"},
                "allowance": 1.0,
            },
        )
        (rule,) = (
            line
            for line in working_of(marked(BATH, table, bath="40.0 °C", table=answer))
            if line.label == "Rule"
        )

        assert rule.symbol == symbol
        assert compared(rule.figure)

    def test_an_answer_that_follows_by_its_rounding_is_shown_by_it(self):
        table = reading_step(
            "table",
            2,
            "computed",
            parameters={
                "calculator": "ntc-10k-resistance",
                "inputs": {"temperature": "bath"},
                "allowance": 0.01,
            },
        )
        found = marked(BATH, table, bath="40.0 °C", table="5.4 kΩ")
        (rule,) = (line for line in working_of(found) if line.label == "Rule")

        assert found.verdict is Verdict.IN_RANGE
        assert rule.symbol == "|y − x|" and compared(rule.figure)
