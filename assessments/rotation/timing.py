"""How a session's minutes divide into slots."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """A session of so many ``minutes`` at the rigs, in ``slots``, with ``change_over`` minutes in each.

    Briefing and checks come off before. Minutes that don't divide evenly are left over at the end. Slots are
    counted from 1.
    """

    minutes: int
    slots: int
    change_over: int

    def __post_init__(self) -> None:
        if self.minutes < 1 or self.slots < 1 or self.change_over < 0:
            raise ValueError("A session has minutes, slots, and no less than no change-over.")
        if self.working_minutes < 1:
            raise ValueError("The change-over leaves no minute of a slot to work in.")

    @property
    def slot_minutes(self) -> int:
        return self.minutes // self.slots

    @property
    def working_minutes(self) -> int:
        """What is left of a slot to work in."""
        return self.slot_minutes - self.change_over

    def slots_for(self, minutes: int) -> int:
        """How many slots in a row a task takes. Who stays at a rig changes over once, at the end."""
        return max(1, -(-(minutes + self.change_over) // self.slot_minutes))

    def minute_of(self, slot: int) -> int:
        """Minutes from the start of the first slot to that of this one."""
        return (slot - 1) * self.slot_minutes
