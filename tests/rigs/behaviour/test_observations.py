import math

import pytest

from rigs.behaviour import observations
from rigs.behaviour.observations import ObservationError, Observed, Test
from rigs.behaviour.prediction import predict
from rigs.behaviour.venturi import Condition, TestPoint
from rigs.metrology.conformity import ContactState
from tests.rigs.behaviour.boards import board

RUNNING, PUMP = Condition.FAN_RUNNING, Condition.HAND_PUMP


def test_a_test_is_named_like_a_measurand() -> None:
    test = Test.of("ports/fan-running")
    assert (test.at, test.condition, test.key) == (TestPoint.PORTS, RUNNING, "ports/fan-running")


@pytest.mark.parametrize("key", ["ports", "ports/", "chimney/fan-running", "ports/raining", ""])
def test_a_name_of_nothing_is_refused(key) -> None:
    with pytest.raises(ObservationError, match="names no test point"):
        Test.of(key)


@pytest.mark.parametrize(
    ("what", "message"),
    [
        ({"at": TestPoint.PORTS}, "one of a pressure"),
        ({"at": TestPoint.PORTS, "value": 1.0, "state": ContactState.OPEN}, "one of a pressure"),
        ({"at": TestPoint.PORTS, "state": ContactState.OPEN}, "read as a pressure"),
        ({"at": TestPoint.CONTACTS, "value": 0.4}, "read as a state"),
        ({"at": TestPoint.PORTS, "value": math.nan}, "that are numbers"),
        ({"at": TestPoint.PORTS, "value": 1.0, "u": -1.0}, "that are numbers"),
        ({"at": TestPoint.PORTS, "value": 1.0, "u": math.inf}, "that are numbers"),
        ({"at": TestPoint.PORTS, "absent": True}, "can be absent"),
        ({"at": TestPoint.MAKE_POINT, "value": 95.0}, "hand pump"),
    ],
)
def test_what_can_t_have_been_seen_there_is_refused(what, message) -> None:
    with pytest.raises(ObservationError, match=message):
        Observed(condition=RUNNING, **what)


@pytest.mark.parametrize("terminals", [2, 3])
def test_every_test_of_a_switch_can_be_predicted_and_none_twice(terminals) -> None:
    found = observations.tests_of(terminals)
    assert len(set(found)) == len(found)
    for test in found:
        predict(board(terminals=terminals), condition=test.condition, at=test.at)


def test_the_pump_has_its_own_test_points_and_a_switch_of_two_terminals_no_third() -> None:
    two, three = set(observations.tests_of(2)), set(observations.tests_of(3))
    assert Test(condition=PUMP, at=TestPoint.MAKE_POINT) in two
    assert Test(condition=RUNNING, at=TestPoint.MAKE_POINT) not in two
    assert {test.at for test in three - two} == {TestPoint.NC_CONTACTS, TestPoint.NC_TO_NO}
