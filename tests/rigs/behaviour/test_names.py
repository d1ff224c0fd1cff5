"""The model and the rig designs speak of the same things by the same names."""

import json
from pathlib import Path

import pytest

from rigs.behaviour import observations
from rigs.behaviour.faults import Fault
from rigs.behaviour.observations import Test
from rigs.behaviour.venturi import Condition, TestPoint

FOLDER = Path(__file__).parents[3] / "fixtures" / "designs"
DESIGNS = [
    pytest.param(json.loads((FOLDER / f"{name}.json").read_text("utf-8")), terminals, id=name)
    for name, terminals in (("two-terminal-switch-rig", 2), ("three-terminal-switch-rig", 3))
]


def names(design, kind: str) -> set[str]:
    return {each["slug"] for each in design[kind]}


@pytest.mark.parametrize(("design", "terminals"), DESIGNS)
def test_every_name_of_the_design_is_in_the_model(design, terminals) -> None:
    assert names(design, "faults") <= set(Fault)
    assert names(design, "conditions") <= set(Condition)
    assert names(design, "test_points") <= set(TestPoint)


@pytest.mark.parametrize(("design", "terminals"), DESIGNS)
def test_every_measurand_of_the_design_is_a_test_that_the_model_knows(design, terminals) -> None:
    asked = {Test.of(f"{each['test_point']}/{each['condition']}") for each in design["measurands"]}
    assert asked <= set(observations.tests_of(terminals))
