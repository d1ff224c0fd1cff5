"""A venturi rig as the model knows it: its figures, the conditions it is put into, where it is measured."""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Protocol, Self, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

Column: TypeAlias = NDArray[np.float64]
Number = TypeVar("Number", float, Column)
Number_co = TypeVar("Number_co", float, Column, covariant=True)

DEAD_HEAD = 2.0  # fan's pressure at no flow, as a multiple of the running Δp (common practice, no source)
PUMPED = 1.2  # what a hand pump is brought to, as a multiple of the make point (common practice, no source)


class RigError(ValueError):
    """Parameters that no rig can have, or a question that this rig can't answer."""


class Condition(StrEnum):
    """How the board is set up when something is read.

    Under the hand pump the fan stands, the tubes are off, and the pump presses on the switch's high port.
    """

    ISOLATED = "isolated"
    FAN_OFF = "fan-off"
    FAN_RUNNING = "fan-running"
    OUTLET_BLOCKED = "outlet-blocked"
    TUBES_CROSSED = "tubes-crossed"
    HAND_PUMP = "hand-pump"


class TestPoint(StrEnum):
    """Where the manometer or the meter is put.

    Single taps and the manometer's zero are against the room. The taps have test points of their own: a
    manometer joined at a blocked tapping would see nothing of it. The make and the break point are pressures
    at which the meter is seen to change, and are found under the hand pump alone.
    """

    __test__ = False  # the name is the trade's; pytest is not to collect it

    TAPS = "taps"
    PORTS = "ports"
    HIGH_TAP = "high-tap"
    LOW_TAP = "low-tap"
    MANOMETER_ZERO = "manometer-zero"
    CONTACTS = "contacts"
    NC_CONTACTS = "nc-contacts"
    NC_TO_NO = "nc-to-no"
    LEADS_TOGETHER = "leads-together"
    LEADS_APART = "leads-apart"
    MAKE_POINT = "make-point"
    BREAK_POINT = "break-point"


class Position(StrEnum):
    """Where the switch's mechanism stands, or comes from."""

    AT_REST = "at-rest"
    OPERATED = "operated"


class Figures(Protocol[Number_co]):
    """What pressures follow from: of one rig, or of many as columns of one shape."""

    @property
    def running(self) -> Number_co: ...
    @property
    def h_share(self) -> Number_co: ...
    @property
    def make(self) -> Number_co: ...
    @property
    def break_(self) -> Number_co: ...
    @property
    def no_flow(self) -> Number_co: ...
    @property
    def slow_speed(self) -> Number_co: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class ManyRigs:
    """Figures of many rigs, as `VenturiRig` has them, a column each: for simulating many runs at once."""

    running: Column
    h_share: Column
    make: Column
    break_: Column
    no_flow: Column
    slow_speed: Column


@dataclass(frozen=True, slots=True, kw_only=True)
class VenturiRig:
    """One rig's own figures. Pressures in Pa, resistance in Ω.

    ``running`` is the healthy Δp with the fan at full speed; the high tap stands at ``h_share`` of it above
    the room, the low tap at the rest below. The switch makes at ``make`` and lets go at ``break_``.
    ``repeat_sd`` and ``session_sd`` are standard deviations at ``running``, and shrink with the level;
    ``rest_sd`` is what remains at no pressure. ``slow_speed`` is the speed, as a share, at the low setting.
    """

    running: float
    h_share: float
    make: float
    break_: float
    terminals: int = 2
    contact_resistance: float = 0.2
    dead_head: float | None = None
    slow_speed: float = 0.7
    repeat_sd: float = 0.0
    session_sd: float = 0.0
    rest_sd: float = 0.0

    def __post_init__(self) -> None:
        if self.running <= 0 or not 0 < self.h_share < 1:
            raise RigError("The running Δp must be above zero, and the high side's share between 0 and 1.")
        if not 0 < self.break_ < self.make:
            raise RigError("The switch must let go below its make point, and both must be above zero.")
        if self.terminals not in (2, 3):
            raise RigError("The switch has two terminals, or three.")
        if self.no_flow < self.running * self.h_share:
            raise RigError("With the outlet blocked, the high tap can't stand lower than when air flows.")
        if not 0 < self.slow_speed <= 1:
            raise RigError("The slow speed is a share of full speed, above 0 and up to 1.")
        if min(self.repeat_sd, self.session_sd, self.rest_sd, self.contact_resistance) < 0:
            raise RigError("A spread or a resistance can't be below zero.")

    @property
    def no_flow(self) -> float:
        """What both taps stand at with the outlet blocked, in Pa above the room."""
        return DEAD_HEAD * self.running if self.dead_head is None else self.dead_head

    @property
    def margin(self) -> float:
        """Running Δp over make point: what is in hand before the switch no longer makes."""
        return self.running / self.make

    def at_speed(self, *, speed: float = 1.0, density: float = 1.0) -> Self:
        """The rig with its fan at another speed or in other air, both as ratios: p ∝ ρN² (fan laws)."""
        return self._scaled(density * speed**2)

    def restricted(self, *, left: float) -> Self:
        """The rig with less air through it: ``left`` is the share of the healthy Δp that its outlet leaves.

        Both taps rise towards the dead head, as they do under `Fault.OUTLET_PARTLY_BLOCKED`. RigError where
        the low tap would come to stand above the room.
        """
        high = self.no_flow - left * (self.no_flow - self.h_share * self.running)
        running = left * self.running
        return replace(
            self,
            running=running,
            h_share=high / running,
            dead_head=self.no_flow,
            repeat_sd=self.repeat_sd * left,
            session_sd=self.session_sd * left,
        )

    def in_session(self, *, rng: np.random.Generator) -> Self:
        """The rig as it happens to be in one session: every reading of that session shares the difference."""
        effect = rng.normal(0.0, self.session_sd / self.running)
        return replace(self._scaled(1.0 + effect), session_sd=0.0)

    def _scaled(self, factor: float) -> Self:
        return replace(
            self,
            running=self.running * factor,
            dead_head=self.no_flow * factor,
            repeat_sd=self.repeat_sd * factor,
            session_sd=self.session_sd * factor,
        )
