"""The working of a verdict: every figure in the unit that was typed, and the same verdict by hand."""

import math
import re
from dataclasses import replace

import pytest

from assessments.marking.mark import mark
from assessments.marking.results import ReadingMark
from assessments.working.kinds import working_of
from assessments.working.lines import side_by_side
from rigs.metrology.conformity import Verdict
from tests.factories.marking import RUNNING, attempt, reading, reading_step

NO_WORKING_FOR = [
    ("leads", "0.2", "Ω", {"expected": ("closed",)}),
    ("contact", "0.4", "Ω", {"measurand": "contacts/fan-running"}),
    ("zero", "0.00", "mbar", {}),
    ("tone", "tone", "", {"expected": ("tone",)}),
]


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
    assert figures(marked("1.62")) == {
        "Reading": "1.62 mbar",
        "The rig today": "1.580 mbar",
        "Repeat noise": "0.019 mbar",
        "Uncertainty of the rig’s value": "0.011 mbar",
        "Uncertainty of the instrument": "0.011 mbar",
        "Combined": "0.024 mbar",
        "Degrees of freedom, effective": "20.2",
        "Factor, 95.45 %": "2.13",
        "Expected range": "1.528 to 1.632 mbar",
        "Distance": "1.64",
        "Rule": "1.64 ≤ 2.13",
    }


def test_a_calculator_comes_to_the_same():
    found = figures(marked("158", unit="Pa"))

    parts = ("Repeat noise", "Uncertainty of the rig’s value", "Uncertainty of the instrument")
    u = math.hypot(*(number(found[part]) for part in parts))
    assert number(found["Combined"]) == pytest.approx(u, abs=0.1)
    half_width = number(found["Factor, 95.45 %"]) * number(found["Combined"])
    lower = number(found["Expected range"])
    assert lower == pytest.approx(number(found["The rig today"]) - half_width, abs=0.2)


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

    assert found["The rig today"] == "158.0 Pa"
    assert found["Combined"] == "2.4 Pa"


def test_infinitely_many_degrees_of_freedom_are_written_so():
    still = replace(RUNNING, repeat_sd=0.0)

    assert figures(marked("1.58", measurands=(still,)))["Degrees of freedom, effective"] == "∞"


def test_a_floor_of_the_centres_has_a_line_of_its_own():
    without, floored = figures(marked("1.62")), figures(marked("1.62", floor_percent=10.0))

    assert "The centre’s floor" not in without
    assert floored["Combined"] == "0.024 mbar"
    assert number(floored["The centre’s floor"]) * number(floored["Factor, 95.45 %"]) == pytest.approx(
        0.158, abs=0.001
    )
    assert floored["Expected range"] == "1.422 to 1.738 mbar"


@pytest.mark.parametrize(("judged_by", "text", "unit", "given"), NO_WORKING_FOR)
def test_other_checks_have_no_working(judged_by, text, unit, given):
    step = reading_step("it", 1, judged_by, **given)
    (found,) = mark(attempt(step, readings=(reading("it", text, unit=unit),))).marks

    assert working_of(found) == ()


def test_workings_stand_side_by_side_line_for_line():
    one, other = working_of(marked("1.62")), working_of(marked("158", unit="Pa", floor_percent=10.0))

    rows = side_by_side([one, other])

    assert [row.label for row in rows] == [line.label for line in other]
    by_label = {row.label: row.figures for row in rows}
    assert by_label["The centre’s floor"][0] == ""
    assert by_label["Combined"] == (one[5].figure, other[5].figure)
