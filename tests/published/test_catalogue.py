"""Figures in the fixtures' tasks against the standards, regulations and guidance that they name."""

import re

import pytest

from tests.factories.assessments import data_for
from tests.published.entries import Entry, entry, label

SUPPLY = entry("catalogue", "T10-01")
PROBES = entry("catalogue", "T10-03")
GAS = entry("catalogue", "T11-08")
CLASSES = entry("computed", "T09-02")


def limits_on(task: str, step: str, *, design: str) -> dict:
    found = next(each for each in data_for(task, design=design)["steps"] if each["slug"] == step)
    return found["parameters"]


def named(item: Entry, *more: str):
    return pytest.param(item, id=label(item, *more))


@pytest.mark.parametrize("item", [named(SUPPLY)])
@pytest.mark.parametrize(
    ("task", "step"),
    [
        ("fan-supply-and-winding", "volts-fan"),
        ("preliminary-electrical-checks", "volts-l-n"),
        ("preliminary-electrical-checks", "volts-l-e"),
    ],
)
def test_supply_volts_have_the_permitted_variation(item: Entry, task: str, step: str) -> None:
    found = limits_on(task, step, design="electrical-panel")
    assert (found["lower"], found["upper"]) == (
        float(item["expected"]["min_V"]),
        float(item["expected"]["max_V"]),
    )
    declared, percent = (
        item["inputs"]["declared_V"],
        (item["inputs"]["minus_pct"], item["inputs"]["plus_pct"]),
    )
    assert found["lower"] == pytest.approx(declared * (1 - percent[0] / 100))
    assert found["upper"] == pytest.approx(declared * (1 + percent[1] / 100))


@pytest.mark.parametrize("item", [named(PROBES)])
def test_probes_have_the_guidance_s_exposed_tips(item: Entry) -> None:
    steps = data_for("instrument-checks", design="two-terminal-switch-rig")["steps"]
    said = next(each["instruction"] for each in steps if each["slug"] == "inspect-leads")
    most, preferred = item["expected"]["exposed_tip_max_mm"], item["expected"]["exposed_tip_preferred_mm"]
    assert re.search(rf"{most} mm at the most, {preferred} mm .* preferred", said)


@pytest.mark.parametrize("item", [named(CLASSES, "class B")])
def test_a_pt100_at_the_hot_point_has_the_standard_s_class_b(item: Entry) -> None:
    found = limits_on("pt100-sensor", "r-hot", design="temperature-bench")
    printed = dict(zip(item["inputs"]["t"], item["expected"]["B"], strict=True))
    assert found["upper"] == -found["lower"] == float(printed[60])


@pytest.mark.parametrize("item", [named(GAS)])
@pytest.mark.parametrize(
    ("step", "of"), [("let-by-start", "let_by_test_mbar"), ("test-start", "test_pressure_tightness_mbar")]
)
def test_a_tightness_test_has_the_usual_pressures(item: Entry, step: str, of: str) -> None:
    lower, upper = re.findall(r"\d+", item["expected"][of])[:2]
    found = limits_on("pressure-test", step, design="pressure-bench")
    assert (found["lower"], found["upper"], found["unit"]) == (float(lower), float(upper), "mbar")
