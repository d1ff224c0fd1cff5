"""The electrical side: where the switch's mechanism stands, and what a meter then finds between terminals."""

from rigs.behaviour.faults import STAYS_AT_REST, Fault
from rigs.behaviour.venturi import Position, RigError, TestPoint, VenturiRig
from rigs.metrology.conformity import ContactState

BOTH = frozenset(Position)
LEADS = frozenset({TestPoint.LEADS_TOGETHER, TestPoint.LEADS_APART})
NC_POINTS = frozenset({TestPoint.NC_CONTACTS, TestPoint.NC_TO_NO})


def positions(
    rig: VenturiRig,
    *,
    lower: float,
    upper: float,
    fault: Fault | None = None,
    coming_from: Position | None = None,
) -> frozenset[Position]:
    """Where the mechanism may stand with a Δp anywhere from ``lower`` to ``upper`` Pa between its ports.

    Between break and make it stays where it was, so that two answers are right unless its history is known.
    """
    if fault in STAYS_AT_REST:
        return frozenset({Position.AT_REST})
    if fault is Fault.CONTACT_WELDED:
        return frozenset({Position.OPERATED})
    found: set[Position] = set()
    if upper >= rig.make:
        found.add(Position.OPERATED)
    if lower <= rig.break_:
        found.add(Position.AT_REST)
    if upper > rig.break_ and lower < rig.make:
        found |= BOTH if coming_from is None else {coming_from}
    return frozenset(found)


def contact_state(
    rig: VenturiRig, *, at: TestPoint, position: Position, fault: Fault | None = None
) -> ContactState:
    """What a meter finds between two terminals, leads taken off. RigError where there are no such ones."""
    if at in NC_POINTS and rig.terminals == 2:
        raise RigError("This switch has two terminals: there is no normally closed contact to read.")
    if fault is Fault.METER_LEAD_BROKEN or at in (TestPoint.LEADS_APART, TestPoint.NC_TO_NO):
        return ContactState.OPEN
    if at is TestPoint.LEADS_TOGETHER:
        return ContactState.CLOSED
    if fault is Fault.WRONG_TERMINALS and at is TestPoint.CONTACTS:
        return ContactState.OPEN
    return _across(_terminals(at, fault), position, fault)


def _terminals(at: TestPoint, fault: Fault | None) -> TestPoint:
    """The contact that is really wired to those terminals."""
    if fault is not Fault.NC_AND_NO_EXCHANGED:
        return at
    return TestPoint.NC_CONTACTS if at is TestPoint.CONTACTS else TestPoint.CONTACTS


def _across(contact: TestPoint, position: Position, fault: Fault | None) -> ContactState:
    if contact is TestPoint.NC_CONTACTS:
        made = position is Position.AT_REST and fault is not Fault.NC_CONTACT_OPEN
    else:
        made = position is Position.OPERATED and fault is not Fault.CONTACT_OPEN
    if made and contact is TestPoint.CONTACTS and fault is Fault.CONTACT_HIGH_RESISTANCE:
        return ContactState.HIGH_RESISTANCE
    return ContactState.CLOSED if made else ContactState.OPEN
