"""What a candidate saw at a rig, as the behaviour model takes it: pressures, and states of contacts."""

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from assessments.marking.inputs import AttemptInputs, MeasurandInput, ReadingInput, StepInput
from assessments.marking.rows import Row, instrument_u, row_of
from rigs.behaviour.observations import ObservationError, Observed, Test
from rigs.behaviour.parameters import Figure, RigModel, rig_from
from rigs.behaviour.prediction import SWITCH_POINTS
from rigs.behaviour.venturi import Condition, TestPoint
from rigs.metrology.conformity import CONTACT_STATES, ContactState, contact_state
from rigs.metrology.quantities import Qualifier

USUAL_LEADS, USUAL_LEADS_U = 0.2, 0.1  # Ω, of leads that weren't read (common practice, no source)
USUAL_SHARE_U = 0.005  # of a pressure that the display in hand can't have shown (common practice, no source)
CLOSED_LIMIT, OPEN_LIMIT = 1.0, 1e6  # Ω, of a contact without a measurand (common practice, no source)

# A tone tells closed from open, not a good contact from a poor one (common practice, no source).
HEARD_OR_SEEN = {
    Qualifier.TONE: ContactState.BORDERLINE,
    Qualifier.NO_TONE: ContactState.OPEN,
    Qualifier.OPEN: ContactState.OPEN,
    Qualifier.CLOSED: ContactState.CLOSED,
}
NO_SUCH_TEST = "The model has no such test, so it weighs nothing."
NO_READING = "There was no reading to weigh."
BEYOND_THE_DISPLAY = "More than the display shows: how much more isn't known, so it weighs nothing."


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A reading that bears on the diagnosis. Without ``observed`` it weighs nothing: ``unused`` says why."""

    row: Row
    test: Test | None
    label: str
    observed: Observed | None
    unused: str = ""

    @property
    def reading(self) -> ReadingInput:
        return self.row.reading


@dataclass(frozen=True, slots=True, kw_only=True)
class _Leads:
    """Resistance of the meter's leads in Ω; infinite where they don't conduct."""

    ohms: float = USUAL_LEADS
    u: float = USUAL_LEADS_U


def known_rig(inputs: AttemptInputs, *, terminals: int) -> RigModel:
    """The rig as its measurands were pinned. RigError where they don't say enough of it."""
    return rig_from(figures_of(inputs.measurands), terminals=terminals)


def figures_of(measurands: Iterable[MeasurandInput]) -> Mapping[str, Figure]:
    """Present values with their standard uncertainties, by measurand; states have none."""
    return {
        each.key: Figure(
            value=each.value,
            u=math.hypot(each.other_u or 0.0, math.sqrt(each.repeat_share or 0.0) * (each.repeat_sd or 0.0)),
            repeat_sd=each.repeat_sd or 0.0,
        )
        for each in measurands
        if each.value is not None
    }


def seen(inputs: AttemptInputs) -> tuple[Seen, ...]:
    """Everything that was read on the rig or of the instruments by themselves, in the order of the bench."""
    found = sorted(_readings(inputs), key=lambda each: each[0].reading.sequence)
    leads = _leads(found)
    return tuple(_seen(row, key, label, leads) for row, key, label in found)


def _readings(inputs: AttemptInputs) -> Iterator[tuple[Row, str, str]]:
    """Each reading with the test that it was, and that in words."""
    for each in inputs.measurements:
        assert inputs.bench is not None  # without it nothing is measured freely
        row = row_of(inputs, inputs.step(each.reading.step), each.reading)
        yield row, each.key, inputs.bench.label_of(each.key)
    for reading in inputs.readings:
        step = inputs.step(reading.step)
        if key := test_of_step(step):
            yield row_of(inputs, step, reading), key, step.title


def test_of_step(step: StepInput) -> str:
    """The test that a reading of the task is, by its key; empty for one that tells nothing of a fault."""
    if step.judged_by == "leads":
        at = TestPoint.LEADS_APART if "open" in step.expected else TestPoint.LEADS_TOGETHER
        return f"{at}/{Condition.ISOLATED}"
    if step.judged_by == "zero":
        return f"{TestPoint.MANOMETER_ZERO}/{Condition.FAN_OFF}"
    return step.measurand


def _leads(found: Iterable[tuple[Row, str, str]]) -> _Leads:
    """The leads' resistance as it was read last with their tips together."""
    leads = _Leads()
    for row, key, _ in found:
        if key.startswith(f"{TestPoint.LEADS_TOGETHER}/"):
            if Qualifier(row.reading.qualifier) is Qualifier.OVER_LIMIT:
                leads = _Leads(ohms=math.inf, u=0.0)
            elif row.is_value:
                leads = _Leads(ohms=row.si, u=_u_of(row))
    return leads


def _seen(row: Row, key: str, label: str, leads: _Leads) -> Seen:
    try:
        test = Test.of(key)
        observed, unused = _observed(row, test, leads)
    except ObservationError:
        return Seen(row=row, test=None, label=label, observed=None, unused=NO_SUCH_TEST)
    return Seen(row=row, test=test, label=label, observed=observed, unused=unused)


def _observed(row: Row, test: Test, leads: _Leads) -> tuple[Observed | None, str]:
    """What the model takes of a reading, or why it takes nothing. Raises ObservationError."""
    if row.reading.quantity != ("resistance" if test.is_contact else "pressure"):
        raise ObservationError("Something else is read there.")
    qualifier = Qualifier(row.reading.qualifier)
    if qualifier is Qualifier.NOT_OBTAINED and test.at in SWITCH_POINTS:
        return Observed(condition=test.condition, at=test.at, absent=True), ""
    if test.is_contact:
        state = _state(row, test, leads)
        return (None, NO_READING) if state is None else (_with_state(test, state), "")
    if qualifier is Qualifier.OVER_LIMIT:
        return None, BEYOND_THE_DISPLAY
    if not row.is_value:
        return None, NO_READING
    return Observed(condition=test.condition, at=test.at, value=row.si, u=_u_of(row)), ""


def _with_state(test: Test, state: ContactState) -> Observed:
    return Observed(condition=test.condition, at=test.at, state=state)


def _state(row: Row, test: Test, leads: _Leads) -> ContactState | None:
    qualifier = Qualifier(row.reading.qualifier)
    if qualifier in HEARD_OR_SEEN:
        return HEARD_OR_SEEN[qualifier]
    over = qualifier is Qualifier.OVER_LIMIT
    if not (over or row.is_value):
        return None
    if test.at in (TestPoint.LEADS_TOGETHER, TestPoint.LEADS_APART):
        leads = _Leads(ohms=0.0, u=0.0)
    elif math.isinf(leads.ohms) and over:
        leads = _Leads()  # the model says itself what leads that don't conduct make of a contact
    limits = row.measurand
    found = contact_state(
        resistance=np.array([row.si]),
        over_limit=np.array([over]),
        lead_resistance=np.array([leads.ohms]),
        instrument_u=np.array([0.0 if over else _u_of(row)]),
        lead_u=np.array([leads.u]),
        closed_limit=CLOSED_LIMIT if limits is None else limits.closed_limit,
        open_limit=OPEN_LIMIT if limits is None else limits.open_limit,
    )
    return CONTACT_STATES[int(found.code[0])]


def _u_of(row: Row) -> float:
    """Standard uncertainty of the instrument at a reading, in SI."""
    (u,) = instrument_u([row])
    return float(u) if math.isfinite(u) else USUAL_SHARE_U * abs(row.si)
