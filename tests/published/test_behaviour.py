import pytest

from rigs.behaviour.faults import Fault
from rigs.behaviour.prediction import predict_level
from rigs.behaviour.venturi import Condition, TestPoint, VenturiRig
from tests.published.entries import entry, label

FAN_LAWS = entry("behaviour", "T08-08")
RIG = VenturiRig(running=158, h_share=0.42, make=95, break_=72)
POINTS = (TestPoint.TAPS, TestPoint.PORTS, TestPoint.HIGH_TAP, TestPoint.LOW_TAP)


@pytest.mark.parametrize("at", [pytest.param(at, id=label(FAN_LAWS, at)) for at in POINTS])
@pytest.mark.parametrize("condition", [Condition.FAN_RUNNING, Condition.OUTLET_BLOCKED])
def test_every_pressure_goes_with_density_and_speed_squared(at: TestPoint, condition: Condition) -> None:
    inputs = FAN_LAWS["inputs"]
    changed = RIG.at_speed(speed=inputs["N_ratio"], density=inputs["rho_ratio"])
    before, after = (predict_level(rig, condition=condition, at=at).mean for rig in (RIG, changed))
    times = float(FAN_LAWS["expected"]["p"])
    assert after == pytest.approx(times * before, abs=FAN_LAWS["tolerance"]["p"] * abs(before))


@pytest.mark.parametrize("at", [pytest.param(at, id=label(FAN_LAWS, "a slow fan", at)) for at in POINTS])
@pytest.mark.parametrize("condition", [Condition.FAN_RUNNING, Condition.OUTLET_BLOCKED])
def test_a_slow_fan_s_pressures_are_those_of_its_speed(at: TestPoint, condition: Condition) -> None:
    slow = predict_level(RIG, condition=condition, at=at, fault=Fault.FAN_SLOW).mean
    changed = RIG.at_speed(speed=RIG.slow_speed)
    assert slow == pytest.approx(predict_level(changed, condition=condition, at=at).mean)
