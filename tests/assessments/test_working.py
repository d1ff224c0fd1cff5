"""The working of a verdict: every figure in the unit that was typed, and the same verdict by hand."""

import math
import re
from dataclasses import replace

import pytest

from assessments.marking.mark import mark
from assessments.marking.results import ReadingMark
from assessments.working.kinds import working_of
from assessments.working.lines import line, side_by_side
from rigs.metrology.conformity import Verdict
from tests.factories.marking import RUNNING, attempt, reading, reading_step


def marked(text: str, *, unit: str = "mbar", **changes) -> ReadingMark:
    steps = (reading_step("taps-running", 1, "agrees", measurand="taps/fan-running"),)
    return mark(attempt(*steps, readings=(reading("taps-running", text, unit=unit),), **changes)).marks[0]


def figures(found: ReadingMark) -> dict[str, str]:
    return {line.label: line.figure.replace("\N{NARROW NO-BREAK SPACE}", " ") for line in working_of(found)}


def number(figure: str) -> float:
    found = re.match(r"[−\d. ]*\d", figure)
    assert found is not None
    return float(found.group().replace("−", "-").replace(" ", ""))


def test_the_lines_follow_one_another_from_the_reading_to_the_rule():
    # By hand, in Pa: u(m)² = 0.9² + 0.1 × 1.9², u(i)² = (0.81 + 1)²/3 + 1²/12,
    # u² = 1.9² + u(m)² + u(i)² = 5.96, ν = u⁴ / ((1.1 × 1.9²)²/9) = 20.2, ζ = 4/2.44.
    assert figures(marked("1.62", baseline_on="2025-01-06")) == {
        "Reading": "1.62 mbar",
        "The rig today": "1.5800 mbar",
        "Repeat noise": "0.0190 mbar",
        "Degrees of freedom of the repeats": "9",
        "Drift, sessions, reference instrument": "0.0090 mbar",
        "Degrees of freedom of the others": "∞",
        "Share of the repeats": "0.100",
        "Uncertainty of the rig’s value": "0.0108 mbar",
        "Instrument": "MN-02, certificate K-1",
        "Its specification": "±(0.5 % of reading + 1 digit of 0.01 mbar), up to 20 mbar",
        "Half-width of that here": "0.0181 mbar",
        "Accuracy": "0.0105 mbar",
        "Display": "0.0029 mbar",
        "Uncertainty of the instrument": "0.0108 mbar",
        "Combined": "0.0244 mbar",
        "Degrees of freedom, effective": "20.2",
        "Factor, 95.45 %": "2.13",
        "Factor, 99.73 %": "3.42",
        "Expected range": "1.528 to 1.632 mbar",
        "Distance": "1.64",
        "Rule": "1.64 ≤ 2.13",
    }


@pytest.mark.parametrize(("source", "says"), [("room", "CIPM-2007"), ("usual", "wasn’t recorded")])
def test_a_level_that_was_put_back_to_the_days_air_says_from_what(source, says):
    measurand = replace(RUNNING, air_density=1.176, air_u=0.0025, air_source=source)
    found = marked("1.62", measurands=(measurand,))
    # 158 Pa × 1.2 / 1.176 = 161.22 Pa.
    assert figures(found)["The rig in reference air"] == "1.6122 mbar"
    assert figures(found)["Density of the air"] == "1.1760 ± 0.0029 kg/m³"
    (density,) = (line for line in working_of(found) if line.symbol == "ρ")
    assert says in density.source
    assert "Density of the air" not in figures(marked("1.62"))


def test_the_baseline_is_named_with_its_number_and_date_where_they_are_known():
    def origin(**given):
        return next(line.source for line in working_of(marked("1.62", **given)) if line.symbol == "m")

    assert origin(baseline=3, baseline_on="2025-01-06").startswith("baseline 3, begun 6 January 2025;")
    assert origin(baseline=3).startswith("baseline 3; ")
    assert origin(baseline=None) == "baseline and checks up to the start"


@pytest.mark.parametrize(
    ("text", "unit"), [("1.62", "mbar"), ("158", "Pa"), ("0.634", "inH2O"), ("1.69", "mbar")]
)
@pytest.mark.parametrize("floor_percent", [0.0, 10.0])
def test_a_calculator_comes_to_the_same_from_the_figures_alone(text, unit, floor_percent):
    found = marked(text, unit=unit, floor_percent=floor_percent)
    by = {line.symbol: number(line.figure) for line in working_of(found) if re.match(r"[−\d]", line.figure)}
    last = 10.0 ** -len(figures(found)["Combined"].split(" ")[0].partition(".")[2])

    def follows(symbol: str, value: float) -> None:
        assert by[symbol] == pytest.approx(value, rel=0.02, abs=2 * last), symbol

    digit = 0.01 * {"mbar": 1, "Pa": 100, "inH2O": 0.401463}[unit]  # NIST SP 811, B.8
    follows("a", 0.005 * by["y"] + digit)
    follows("a/√3", by["a"] / math.sqrt(3))
    follows("r/√12", digit / math.sqrt(12))
    follows("u(i)", math.hypot(by["a/√3"], by["r/√12"]))
    follows("u(m)", math.sqrt(by["u(d)"] ** 2 + by["k"] * by["s"] ** 2))
    combined = math.hypot(by["s"], by["u(m)"], by["u(i)"])
    lines = {line.label: number(line.figure) for line in working_of(found) if line.symbol == "u"}
    assert lines["Combined"] == pytest.approx(combined, rel=0.01)
    by_hand = combined**4 / (((1 + by["k"]) * by["s"] ** 2) ** 2 / by["ν(s)"])
    assert by["ν"] == pytest.approx(by_hand, rel=0.04)
    u = lines.get("The centre’s floor", combined)
    assert u == pytest.approx(max(combined, floor_percent / 100 * by["m"] / by["t"]), rel=0.01)
    lower, upper = (number(end) for end in figures(found)["Expected range"].split(" to "))
    assert (lower, upper) == pytest.approx((by["m"] - by["t"] * u, by["m"] + by["t"] * u), abs=0.02 * u)
    assert number(figures(found)["Distance"]) == pytest.approx((by["y"] - by["m"]) / u, abs=0.02)


def test_a_marking_from_before_the_parts_were_kept_has_the_lines_that_it_can():
    found = marked("1.62")
    old = figures(replace(found, numbers=replace(found.numbers, instrument=None, rig=None)))

    assert {"Its specification", "Share of the repeats", "Half-width of that here"}.isdisjoint(old)
    assert old["Uncertainty of the instrument"] == "0.0108 mbar"
    assert old["Rule"] == "1.64 ≤ 2.13"


@pytest.mark.parametrize(
    ("text", "verdict", "rule"),
    [
        ("1.58", Verdict.IN_RANGE, r"[\d.]+ ≤ [\d.]+"),
        ("1.64", Verdict.BORDERLINE, r"[\d.]+ < [\d.]+ < [\d.]+"),
        ("1.69", Verdict.OUT_OF_RANGE, r"[\d.]+ ≥ [\d.]+"),
        ("1.47", Verdict.OUT_OF_RANGE, r"[\d.]+ ≥ [\d.]+"),
    ],
)
def test_the_rule_says_why_the_verdict_is_what_it_is(text, verdict, rule):
    found = marked(text)

    assert found.verdict == verdict
    assert re.fullmatch(rule, figures(found)["Rule"])


def test_a_reading_below_has_a_distance_with_a_true_minus():
    assert figures(marked("1.47"))["Distance"].startswith("−")


@pytest.mark.parametrize("nearness", [1e-3, 1e-4, 1e-5])
def test_a_distance_just_beyond_a_limit_never_looks_equal_to_it(nearness):
    found = marked("1.64")
    numbers = replace(found.numbers, zeta=found.numbers.t_in * (1 + nearness))

    lower, zeta, upper = figures(replace(found, numbers=numbers))["Rule"].split(" < ")

    assert float(lower) < float(zeta) < float(upper)


def test_figures_are_in_the_unit_that_was_typed():
    found = figures(marked("158", unit="Pa"))

    assert found["The rig today"] == "158.00 Pa"
    assert found["Combined"] == "2.44 Pa"


def test_infinitely_many_degrees_of_freedom_are_written_so():
    still = replace(RUNNING, repeat_sd=0.0)

    assert figures(marked("1.58", measurands=(still,)))["Degrees of freedom, effective"] == "∞"


def test_a_floor_of_the_centres_has_a_line_of_its_own():
    without, floored = figures(marked("1.62")), figures(marked("1.62", floor_percent=10.0))

    assert "The centre’s floor" not in without
    assert floored["Combined"] == "0.0244 mbar"
    assert number(floored["The centre’s floor"]) * number(floored["Factor, 95.45 %"]) == pytest.approx(
        0.158, abs=0.001
    )
    assert floored["Expected range"] == "1.422 to 1.738 mbar"


def test_a_tone_has_no_working():
    step = reading_step("it", 1, "tone", expected=("tone",))
    (found,) = mark(attempt(step, readings=(reading("it", "tone", unit=""),))).marks

    assert working_of(found) == ()


def test_workings_stand_side_by_side_line_for_line():
    one, other = working_of(marked("1.62")), working_of(marked("158", unit="Pa", floor_percent=10.0))

    rows = side_by_side([one, other])

    assert [row.label for row in rows] == [line.label for line in other]
    by_label = {row.label: row.figures for row in rows}
    assert by_label["The centre’s floor"][0] == ""
    assert by_label["Combined"] == tuple(
        next(line.figure for line in working if line.label == "Combined") for working in (one, other)
    )


def test_lines_that_say_something_else_have_rows_of_their_own():
    same = line("Reading", "y", "1", "as typed")
    rows = side_by_side(
        [[same, line("Rule", "x", "2", "one rule")], [same, line("Rule", "x", "3", "another")]]
    )

    assert [(row.label, row.source, row.figures) for row in rows] == [
        ("Reading", "as typed", ("1", "1")),
        ("Rule", "another", ("", "3")),
        ("Rule", "one rule", ("2", "")),
    ]
