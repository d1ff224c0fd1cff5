"""The test that would tell most, and how few would do."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigs.behaviour import observations
from rigs.behaviour.faults import Fault, faults_of
from rigs.behaviour.next_test import fewest_tests, gains, next_test, typical
from rigs.behaviour.observations import Manometry, Observed, Test
from rigs.behaviour.posterior import posterior
from rigs.behaviour.venturi import Condition, TestPoint
from rigs.metrology.conformity import ContactState
from tests.rigs.behaviour.boards import WHOLE, known, seen

CLOSED, OPEN = ContactState.CLOSED, ContactState.OPEN
KNOWN = known()
FAULTS = faults_of(KNOWN.rig)
ALL = observations.tests_of(2)
ELECTRICAL = (Fault.STUCK_AT_REST, Fault.CONTACT_OPEN, Fault.METER_LEAD_BROKEN)


def bits(observed, *, among=ALL, faults=FAULTS, **more) -> dict[str, float]:
    found = gains(KNOWN, observed=observed, tests=among, faults=faults, **more)
    assert [each.bits for each in found] == sorted((each.bits for each in found), reverse=True)
    return {each.test.key: each.bits for each in found}


def test_a_test_that_parts_two_equal_halves_for_certain_tells_one_bit() -> None:
    # Crossed tubes or straight, nothing else: the sign at the ports.
    found = bits([], faults=[Fault.TUBES_CROSSED])
    assert found["ports/fan-running"] == pytest.approx(1 - 0.03, abs=0.03)  # but for slips
    assert found["taps/fan-running"] == pytest.approx(0, abs=1e-6)
    assert found["leads-together/fan-off"] == 0


def test_a_contact_tells_what_a_channel_with_slips_can() -> None:
    # Welded or sound, seen with the fan off: closed or open, and a slip is either of the two other states.
    e = 0.03
    both = -(
        2 * (0.5 * (1 - e) + 0.5 * e / 2) * math.log2(0.5 * (1 - e) + 0.5 * e / 2) + e / 2 * math.log2(e / 2)
    )
    noise = -((1 - e) * math.log2(1 - e) + e * math.log2(e / 2))
    found = bits([], faults=[Fault.CONTACT_WELDED])
    assert found["contacts/fan-off"] == pytest.approx(both - noise, rel=1e-9)


def test_leads_come_first_where_nothing_makes_a_circuit() -> None:
    readings = seen(ports__fan_running=158.0, contacts__fan_running=[OPEN, OPEN], contacts__fan_off=OPEN)
    two_leads = [
        Test.of("leads-together/fan-off"),
        Test.of("taps/fan-running"),
        Test.of("high-tap/fan-running"),
    ]
    best = next_test(KNOWN, observed=readings, tests=two_leads, faults=ELECTRICAL)
    assert best is not None and best.test.at is TestPoint.LEADS_TOGETHER


def test_the_taps_come_next_where_air_or_tubes_may_be_at_fault() -> None:
    readings = seen(ports__fan_running=0.58 * 158, contacts__fan_running=OPEN, contacts__fan_off=OPEN)
    among = [Test.of(key) for key in ("taps/fan-running", "contacts/fan-off", "leads-together/fan-off")]
    best = next_test(KNOWN, observed=readings, tests=among, faults=FAULTS)
    assert best is not None and best.test.at is TestPoint.TAPS


def test_what_was_read_already_tells_less_the_second_time() -> None:
    once = typical(KNOWN, test=Test.of("ports/fan-running"), fault=Fault.H_TUBE_HOLED)
    before, after = bits([]), bits([once])
    assert after["ports/fan-running"] < 0.25 * before["ports/fan-running"]


def test_a_reading_that_must_be_a_slip_does_not_foretell_the_next() -> None:
    readings = seen(ports__fan_running=158.0, contacts__fan_running=CLOSED)
    spoilt = [*readings, *seen(taps__fan_running=15_800.0)]
    asked = [fault for fault in FAULTS if fault is not Fault.UNIT_SLIP]
    clean, after = bits(readings, faults=asked), bits(spoilt, faults=asked)
    assert after["ports/outlet-blocked"] == pytest.approx(clean["ports/outlet-blocked"], abs=0.1)


def test_a_finer_manometer_tells_more() -> None:
    fine, coarse = (
        bits([], manometer=Manometry(fixed=fixed, share=0.0))["ports/fan-running"] for fixed in (0.5, 20.0)
    )
    assert fine > coarse + 0.5


def test_when_nothing_is_left_to_tell_there_is_no_next_test() -> None:
    assert next_test(KNOWN, observed=[], tests=ALL, faults=[]) is None
    assert next_test(KNOWN, observed=[], tests=[], faults=FAULTS) is None
    pen = seen(ports__fan_running=-158.0, taps__fan_running=-158.0, contacts__fan_running=CLOSED)
    asked = [Fault.SIGN_SLIP, Fault.MANOMETER_REVERSED]
    assert next_test(KNOWN, observed=pen, tests=ALL, faults=asked) is None


observed = st.lists(
    st.builds(
        lambda test, fault: typical(KNOWN, test=test, fault=fault),
        st.sampled_from(ALL),
        st.sampled_from([None, *FAULTS]),
    ),
    max_size=6,
)


@settings(max_examples=15)
@given(observed)
def test_no_test_tells_less_than_nothing_or_more_than_there_is(readings) -> None:
    left = posterior(KNOWN, observed=readings, faults=FAULTS).probabilities
    entropy = -sum(p * math.log2(p) for p in left if p > 0)
    assert all(0 <= each <= entropy + 0.02 for each in bits(readings).values())


@pytest.mark.parametrize("fault", [None, Fault.H_TUBE_OFF, Fault.CONTACT_WELDED, Fault.FAN_SLOW], ids=str)
def test_the_fewest_tests_lead_to_the_fault(fault) -> None:
    found = fewest_tests(KNOWN, fault=fault, tests=WHOLE, faults=FAULTS, sure=0.9)
    assert 1 <= len(found) <= 8
    readings = [typical(KNOWN, test=test, fault=fault) for test in found]
    result = posterior(KNOWN, observed=readings, faults=FAULTS)
    assert result.of(fault) == max(result.probabilities)


def test_one_test_is_enough_for_a_slip_of_unit_and_none_for_what_can_t_be_told() -> None:
    assert len(fewest_tests(KNOWN, fault=Fault.UNIT_SLIP, tests=WHOLE, faults=FAULTS)) == 1
    assert fewest_tests(KNOWN, fault=Fault.H_TUBE_OFF, tests=(), faults=FAULTS) == ()


def test_what_is_typical_is_what_is_predicted() -> None:
    assert typical(
        KNOWN, test=Test.of("ports/fan-running"), fault=Fault.TUBES_CROSSED
    ).value == pytest.approx(-KNOWN.rig.running)
    assert typical(KNOWN, test=Test.of("contacts/fan-running"), fault=None).state is CLOSED
    assert typical(KNOWN, test=Test.of("make-point/hand-pump"), fault=Fault.STUCK_AT_REST) == Observed(
        condition=Condition.HAND_PUMP, at=TestPoint.MAKE_POINT, absent=True
    )
