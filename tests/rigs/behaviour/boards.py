"""Rigs, sets of tests and readings that the tests of the diagnosis share."""

import numpy as np

from rigs.behaviour.observations import Observed, Test
from rigs.behaviour.parameters import RigModel, characterised
from rigs.behaviour.venturi import VenturiRig
from rigs.metrology.conformity import ContactState

NC = (
    "nc-contacts/fan-off nc-contacts/fan-off nc-contacts/fan-running nc-contacts/fan-running "
    "nc-contacts/outlet-blocked nc-contacts/outlet-blocked nc-contacts/hand-pump nc-contacts/hand-pump"
)


def named(keys: str) -> tuple[Test, ...]:
    return tuple(Test.of(key) for key in keys.split())


# Contacts off and running, and Δp at the switch: no more than is read on most days.
USUAL = named("contacts/fan-off contacts/fan-running ports/fan-off ports/fan-running")
USUAL_OF_THREE = (*USUAL, *named("nc-contacts/fan-off nc-contacts/fan-running"))
AT_TAPS = named("taps/fan-running")
SINGLE_TAP = named("high-tap/fan-running")
LEADS = named("leads-together/fan-off")
BLOCKED = named("ports/outlet-blocked")

# Everything, contacts read twice in each condition.
WHOLE = named(
    "leads-together/isolated leads-together/isolated leads-together/fan-off leads-together/fan-off "
    "ports/fan-off contacts/fan-off contacts/fan-off "
    "taps/fan-running taps/fan-running taps/fan-running high-tap/fan-running "
    "ports/fan-running ports/fan-running ports/fan-running contacts/fan-running contacts/fan-running "
    "ports/outlet-blocked high-tap/outlet-blocked contacts/outlet-blocked contacts/outlet-blocked "
    "ports/hand-pump contacts/hand-pump contacts/hand-pump make-point/hand-pump break-point/hand-pump"
)
WHOLE_OF_THREE = (*WHOLE, *named(NC))


def board(**figures: float) -> VenturiRig:
    usual = {"running": 158, "h_share": 0.42, "make": 95, "break_": 72, "terminals": 2}
    return VenturiRig(**(usual | figures), repeat_sd=1.9, session_sd=1.9, rest_sd=0.3)


def known(rig: VenturiRig | None = None, *, seed: int = 1) -> RigModel:
    return characterised(rig or board(), rng=np.random.default_rng(seed))


def seen(**readings: object) -> list[Observed]:
    """Readings by “test_point__condition”: pascals with u = 1 Pa, or a state."""
    found = []
    for name, value in readings.items():
        test = Test.of(name.replace("__", "/").replace("_", "-"))
        for each in value if isinstance(value, list) else [value]:
            if isinstance(each, ContactState):
                found.append(Observed(condition=test.condition, at=test.at, state=each))
            else:
                found.append(Observed(condition=test.condition, at=test.at, value=each, u=1.0))
    return found
