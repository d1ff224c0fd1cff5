"""Everything that may be the matter with a rig, and what each would make it read, linear in what isn't known.

A fault that comes in degrees is cut into cells of its severity. An explanation is a fault, or none, in one
cell. Given an explanation, readings are normal: the rig's figures, the session's effect and the place in the
cell are common to them, and each has noise of its own.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from rigs.behaviour.contacts import contact_state
from rigs.behaviour.faults import DEGREES, STAYS_AT_REST, Fault
from rigs.behaviour.observations import Test
from rigs.behaviour.parameters import RigModel
from rigs.behaviour.prediction import HUNDRED, as_written, can_be_read, level, noise
from rigs.behaviour.pressures import pressures
from rigs.behaviour.venturi import Column, Condition, ManyRigs, Position
from rigs.metrology.conformity import ContactState

CELLS = 24
UNKNOWN = 6  # the rig's figures that are not known exactly
STATES = (ContactState.CLOSED, ContactState.OPEN, ContactState.HIGH_RESISTANCE)
BY_NAME = frozenset({Fault.CONTACT_HIGH_RESISTANCE})  # comes in degrees that change no state

Marks = NDArray[np.bool_]
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanations:
    """Columns of explanations, sorted by fault. Pressures in Pa.

    ``fault`` indexes the faults asked about, ``starts`` says where each begins. ``log_share`` is the log of a
    cell's share of its fault. ``mean`` and ``own_sd`` are (explanations × tests), ``slopes`` (explanations ×
    tests × unknowns) is what one standard deviation of an unknown adds. ``times`` is the factor by which a
    slip of unit multiplies. ``readable`` (explanations × tests) says where anything is to be had.
    """

    fault: Indices
    starts: Indices
    log_share: Column
    mean: Column
    own_sd: Column
    slopes: Column
    times: Column
    readable: Marks

    def only(self, kept: Indices) -> "Explanations":
        """Some of the explanations, in their order; a fault may have none left, so ``starts`` is empty."""
        return Explanations(
            fault=self.fault[kept],
            starts=self.starts[:0],
            log_share=self.log_share[kept],
            mean=self.mean[kept],
            own_sd=self.own_sd[kept],
            slopes=self.slopes[kept],
            times=self.times[kept],
            readable=self.readable[kept],
        )


@lru_cache(maxsize=64)
def explain(model: RigModel, *, tests: tuple[Test, ...], faults: tuple[Fault | None, ...]) -> Explanations:
    """Predict the pressures among some tests; contacts have zeros, and are `operated`'s affair."""
    cells = [severities(fault) for fault in faults]
    counts = np.array([len(each) for each in cells])
    index = np.repeat(np.arange(len(faults)), counts)
    times = np.array([HUNDRED if faults[each] is Fault.UNIT_SLIP else 1.0 for each in index])
    mean = np.zeros((len(index), len(tests)))
    slopes = np.zeros((*mean.shape, UNKNOWN + 1))
    readable = np.zeros(mean.shape, dtype=bool)
    ends = np.cumsum(counts)
    for fault, first, last, severity in zip(faults, ends - counts, ends, cells, strict=True):
        for column, test in enumerate(tests):
            readable[first:last, column] = can_be_read(test.at, fault=fault)
            if not test.is_contact and can_be_read(test.at, fault=fault):
                mean[first:last, column], slopes[first:last, column] = _around(model, test, fault, severity)
    return Explanations(
        fault=index,
        starts=ends - counts,
        log_share=-np.log(counts[index]),
        mean=mean,
        own_sd=times[:, None] * _own_sd(model, tests, mean / times[:, None]),
        slopes=slopes,
        times=times,
        readable=readable,
    )


def severities(fault: Fault | None) -> Column:
    """The middles of a fault's cells; a manometer may be off zero either way."""
    if fault not in DEGREES or fault in BY_NAME:
        return np.array([0.5])
    middles = (np.arange(CELLS) + 0.5) / CELLS
    return np.concatenate([-middles[::-1], middles]) if fault is Fault.MANOMETER_NOT_ZEROED else middles


@lru_cache(maxsize=64)
def operated(
    model: RigModel,
    *,
    visits: tuple[tuple[Condition, Position | None], ...],
    faults: tuple[Fault | None, ...],
) -> Column:
    """The probability of the switch standing operated: (explanations × visits).

    A visit is a condition and where the switch stood before; where that isn't known, either is as likely.
    The pressure at the ports and the make and break points are normal with their uncertainties. What a run's
    own pressures say about them is left aside, so that a switch near its point is never called too surely.
    """
    columns = [
        np.concatenate([_operated(model, condition, coming_from, fault) for fault in faults])
        for condition, coming_from in visits
    ]
    return np.array(columns).reshape(len(visits), sum(len(severities(fault)) for fault in faults)).T


def states_shown(
    model: RigModel, *, tests: Sequence[Test], faults: Sequence[Fault | None]
) -> NDArray[np.intp]:
    """What contacts show with the switch at rest and operated, indexing `STATES`: (faults × tests × 2)."""
    return np.array(
        [
            [
                [
                    STATES.index(contact_state(model.rig, at=test.at, position=position, fault=fault))
                    for position in (Position.AT_REST, Position.OPERATED)
                ]
                for test in tests
            ]
            for fault in faults
        ],
        dtype=np.intp,
    ).reshape(len(faults), len(tests), 2)


def _operated(
    model: RigModel, condition: Condition, coming_from: Position | None, fault: Fault | None
) -> Column:
    severity = severities(fault)
    if fault in STAYS_AT_REST:
        return np.zeros(len(severity))
    if fault is Fault.CONTACT_WELDED or condition is Condition.HAND_PUMP:
        return np.ones(len(severity))
    rigs, how_bad = _perturbed(model, severity, _half_cell(fault))
    written = as_written(condition, fault)
    found = pressures(rigs, condition=written, fault=fault, severity=how_bad).ports
    ports, slopes = _mean_and_slopes(found, len(severity))
    rig = model.rig
    variance = rig.rest_sd**2 + (rig.repeat_sd * ports / rig.running) ** 2 + (slopes**2).sum(axis=1)
    from_rest = _above(ports, rig.make, np.sqrt(variance + model.u_make**2))
    from_operated = _above(ports, rig.break_, np.sqrt(variance + model.u_break**2))
    if coming_from is Position.AT_REST:
        return from_rest
    return from_operated if coming_from is Position.OPERATED else (from_rest + from_operated) / 2


def _above(pressure: Column, point: float, sd: Column) -> Column:
    return np.asarray(ndtr((pressure - point) / np.maximum(sd, 1e-9)))


def _around(model: RigModel, test: Test, fault: Fault | None, severity: Column) -> tuple[Column, Column]:
    rigs, how_bad = _perturbed(model, severity, _half_cell(fault))
    found = level(rigs, condition=test.condition, at=test.at, fault=fault, severity=how_bad)
    return _mean_and_slopes(found, len(severity))


def _half_cell(fault: Fault | None) -> float:
    """The standard deviation of a place in a cell: that of a rectangle."""
    return 0.0 if fault not in DEGREES or fault in BY_NAME else 1 / CELLS / math.sqrt(12)


def _perturbed(model: RigModel, severity: Column, half_cell: float) -> tuple[ManyRigs, Column]:
    """The rig as stated, each unknown a standard deviation up, each down: a block of severities for each."""
    rig = model.rig
    spreads = (
        math.hypot(model.u_running, rig.session_sd),
        model.u_h_share,
        model.u_make,
        model.u_break,
        model.u_dead_head,
        model.u_slow_speed,
        half_cell,
    )
    steps = np.concatenate([np.zeros((1, UNKNOWN + 1)), np.diag(spreads), -np.diag(spreads)])
    running, h_share, make, break_, dead_head, slow, place = np.repeat(steps, len(severity), axis=0).T
    factor = 1.0 + running / rig.running
    rigs = ManyRigs(
        running=rig.running * factor,
        h_share=rig.h_share + h_share,
        make=rig.make + make,
        break_=rig.break_ + break_,
        no_flow=(rig.no_flow + dead_head) * factor,
        slow_speed=rig.slow_speed + slow,
    )
    return rigs, np.tile(severity, len(steps)) + place


def _mean_and_slopes(found: Column, cells: int) -> tuple[Column, Column]:
    blocks = found.reshape(2 * (UNKNOWN + 1) + 1, cells)
    up, down = blocks[1 : UNKNOWN + 2], blocks[UNKNOWN + 2 :]
    return blocks[0], ((up - down) / 2).T


def _own_sd(model: RigModel, tests: tuple[Test, ...], mean: Column) -> Column:
    parts = [noise(model.rig, condition=test.condition, at=test.at) for test in tests]
    fixed, share = np.array(parts).reshape(-1, 2).T
    return np.asarray(np.hypot(fixed, share * mean))
