"""The model and the rig designs speak of the same things by the same names."""

import json
from pathlib import Path

from rigs.behaviour.faults import Fault
from rigs.behaviour.venturi import Condition, TestPoint

DESIGN = json.loads(
    (Path(__file__).parents[3] / "fixtures" / "designs" / "two-terminal-switch-rig.json").read_text("utf-8")
)


def names(kind: str) -> set[str]:
    return {each["slug"] for each in DESIGN[kind]}


def test_every_fault_of_the_design_is_in_the_model() -> None:
    assert names("faults") <= set(Fault)


def test_every_condition_and_test_point_of_the_design_is_in_the_model() -> None:
    assert names("conditions") <= set(Condition)
    assert names("test_points") <= set(TestPoint)
