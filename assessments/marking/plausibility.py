"""What about an attempt is hardly plausible: for the assessor to ask about, never a verdict.

Each flag is one sentence with its numbers, and where there is one the innocent explanation. Nothing here
changes a marking, and no candidate is shown any of it. The thresholds are a centre's own; their defaults are
common practice, no source.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import pairwise

from assessments.marking.coincidence import Quantity as Compared
from assessments.marking.coincidence import chance_of
from rigs.metrology.instruments import NoRange, RangeSpec, Spec
from rigs.metrology.quantities import Quantity

NAMED = 3
"""So many of a kind are named in a sentence; the others are counted."""
HURRIED_GAPS = 3
"""So many gaps in a row, each too short for hands, are pointed out; a single one is a quick tap."""
HAIR = 1e-9
"""Relative: what separates two figures that are the same but for floating point."""


class FlagKind(StrEnum):
    TOO_FINE = "too-fine"
    BEYOND_SCALE = "beyond-scale"
    SAME_READINGS = "same-readings"
    HURRIED_STEPS = "hurried-steps"
    HURRIED_ATTEMPT = "hurried-attempt"
    PHOTO_OUT_OF_TIME = "photo-out-of-time"
    PHOTO_USED_BEFORE = "photo-used-before"


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    kind: FlagKind
    sentence: str
    innocent: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Thresholds:
    """From where on something is pointed out.

    ``hands_seconds``: less between two steps is too quick for hands. ``hurried_percent``: of the planned
    time. ``photo_slack``: by how much a camera's clock may be wrong. ``coincidence``: how unlikely the same
    readings must be, over all pairs compared.
    """

    hands_seconds: float = 4.0
    hurried_percent: float = 25.0
    photo_slack: timedelta = timedelta(minutes=10)
    coincidence: float = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One reading with a number, as written. ``si_resolution`` is that of its digits.

    ``is_read`` off a display; otherwise the candidate worked it out, and its digits follow from that.
    """

    title: str
    text: str
    unit: str
    quantity: Quantity
    si_value: float
    si_resolution: float
    instrument: str
    spec: Spec
    is_read: bool = True

    @property
    def written(self) -> str:
        return self.text if self.text.endswith(self.unit) else f"{self.text} {self.unit}"

    @property
    def range(self) -> RangeSpec | None:
        """The finest that can show it, None if none can."""
        try:
            return self.spec.range_for(quantity=self.quantity, value_si=self.si_value)
        except NoRange:
            return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Informative:
    """A figure of a level that varies from one repeat to the next. SI units.

    ``resolution`` is the display's, or of the digits written where those are coarser.
    """

    quantity: str
    value: float
    resolution: float
    repeat_sd: float
    session_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The informative figures of one attempt by step. ``whose`` names it in a sentence."""

    whose: str
    candidate: object
    session: object
    figures: Mapping[str, Informative]


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A step that needs hands, and when it was logged."""

    title: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenPhoto:
    """``taken_at`` by the camera's clock. ``same_file`` and ``same_pixels`` name other attempts with it."""

    title: str
    taken_at: datetime | None
    same_file: tuple[str, ...] = ()
    same_pixels: tuple[str, ...] = ()


def of_figures(figures: Sequence[Figure]) -> Iterator[Flag]:
    """Digits that the display doesn't have, and values that it can't show."""
    fine, beyond = [], []
    for each in figures:
        on = each.range
        if on is None and _largest(each) is not None:
            beyond.append(_beyond(each))
        elif on is not None and each.is_read and each.si_resolution < on.resolution_si * (1 - HAIR):
            beside = f"{each.instrument} shows steps of {on.resolution:g} {on.unit} there"
            fine.append(f"“{each.title}” is written as {each.written}, and {beside}")
    if fine:
        yield Flag(
            kind=FlagKind.TOO_FINE,
            sentence=_listed(fine, "more figures are finer than the display"),
            innocent="A unit converted by hand, or another instrument than was picked, gives more digits.",
        )
    if beyond:
        yield Flag(
            kind=FlagKind.BEYOND_SCALE,
            sentence=_listed(beyond, "more figures are beyond the scale"),
            innocent="A slip of the unit does this: pascals taken for millibars are 100 times too much.",
        )


def of_likeness(own: Sheet, others: Iterable[Sheet], *, pairs: int, thresholds: Thresholds) -> Iterator[Flag]:
    """Sheets of other candidates on the rig that agree more than honest readings do.

    ``pairs`` is how many pairs of attempts were compared: the chance is multiplied by it.
    """
    for other in others:
        steps = own.figures.keys() & other.figures.keys()
        same = sum(_agree(own.figures[step], other.figures[step]) for step in steps)
        if other.candidate == own.candidate or not same:
            continue
        chance = chance_of(matches=same, quantities=_compared(own, other, steps))
        if chance * pairs <= thresholds.coincidence:
            yield Flag(
                kind=FlagKind.SAME_READINGS,
                sentence=_likeness(other.whose, same=same, of=len(steps), chance=chance, pairs=pairs),
                innocent="Working in pairs where the task allows it, or readings called out by somebody, "
                "give the same. It needs a conversation; it proves nothing.",
            )


def _likeness(whose: str, *, same: int, of: int, chance: float, pairs: int) -> str:
    which = f"All {same}" if same == of else f"{same} of {of}"
    over = f"; {_one_in(chance * pairs)} over the {pairs:,} pairs of attempts compared" if pairs > 1 else ""
    return (
        f"{which} informative readings are the same, digit for digit and in the same order, as {whose}. "
        f"By chance that is {_one_in(chance)}{over}."
    )


def of_pace(
    done: Sequence[Done], *, took: timedelta | None, guide_minutes: float, thresholds: Thresholds
) -> Iterator[Flag]:
    """Steps, and a whole attempt, quicker than hands. ``took`` is None where nobody knows."""
    run = _hurried_run(sorted(done, key=lambda each: each.at), seconds=thresholds.hands_seconds)
    if len(run) > HURRIED_GAPS:
        between = _duration(run[-1].at - run[0].at)
        yield Flag(
            kind=FlagKind.HURRIED_STEPS,
            sentence=f"{len(run)} steps that need hands, from “{run[0].title}” to “{run[-1].title}”, were "
            f"logged within {between}: less than {thresholds.hands_seconds:g} s from each to the next.",
            innocent="Steps that were done first and ticked together afterwards look the same.",
        )
    if took is None or guide_minutes <= 0:
        return
    percent = 100 * took / timedelta(minutes=guide_minutes)
    if percent < thresholds.hurried_percent:
        yield Flag(
            kind=FlagKind.HURRIED_ATTEMPT,
            sentence=f"The whole attempt took {_duration(took)}, {percent:.0f} % of the {guide_minutes:g} "
            f"minutes that the task is planned for; under {thresholds.hurried_percent:g} % is pointed out.",
            innocent="Work on paper that was typed in afterwards as if it were new is quick too.",
        )


def of_photos(
    photos: Iterable[TakenPhoto], *, began: datetime, ended: datetime, thresholds: Thresholds
) -> Iterator[Flag]:
    """Photos taken outside the attempt, or used in another one before."""
    for photo in photos:
        away = _outside(photo.taken_at, began=began, ended=ended)
        if photo.taken_at is not None and away is not None and abs(away) > thresholds.photo_slack:
            side = "before the attempt began" if away < timedelta() else "after it was handed in"
            yield Flag(
                kind=FlagKind.PHOTO_OUT_OF_TIME,
                sentence=f"By the camera's clock the photo “{photo.title}” was taken on "
                f"{photo.taken_at:%d %B %Y at %H:%M}, {_duration(abs(away))} {side}.",
                innocent="A camera whose clock is wrong does this.",
            )
        if photo.same_file or photo.same_pixels:
            how = (
                "is the same file as one in"
                if photo.same_file
                else "is the same picture, pixel for pixel, as one in"
            )
            elsewhere = photo.same_file or photo.same_pixels
            yield Flag(
                kind=FlagKind.PHOTO_USED_BEFORE,
                sentence=f"The photo “{photo.title}” {how} {_named(elsewhere)}.",
                innocent="The wrong picture picked from the phone's own album does this.",
            )


def _largest(figure: Figure) -> RangeSpec | None:
    of_kind = [each for each in figure.spec.ranges if each.quantity is figure.quantity]
    return max(of_kind, key=lambda each: each.full_scale_si, default=None)


def _beyond(figure: Figure) -> str:
    most = _largest(figure)
    assert most is not None
    limit = f"{figure.instrument} reads up to {most.full_scale:g} {most.unit}"
    return f"“{figure.title}” is written as {figure.written}, and {limit}"


def _agree(one: Informative, other: Informative) -> bool:
    """The same digits. Written more coarsely, they may stand for several of the other's: that is no match."""
    return abs(one.value - other.value) <= HAIR * max(abs(one.value), abs(other.value), one.resolution)


def _compared(own: Sheet, other: Sheet, steps: Iterable[str]) -> list[Compared]:
    """Each quantity with the smaller spread and the coarser digits of the two: whatever favours chance."""
    by_quantity: defaultdict[str, list[tuple[Informative, Informative]]] = defaultdict(list)
    for step in steps:
        by_quantity[own.figures[step].quantity].append((own.figures[step], other.figures[step]))
    apart = own.session is None or own.session != other.session
    return [
        Compared(
            readings=len(found),
            repeat_sd=min(each.repeat_sd for pair in found for each in pair),
            resolution=max(each.resolution for pair in found for each in pair),
            session_sd=min(each.session_sd for pair in found for each in pair) if apart else 0.0,
        )
        for found in by_quantity.values()
    ]


def _hurried_run(done: Sequence[Done], *, seconds: float) -> list[Done]:
    """The longest run of steps, each logged too soon after the one before."""
    longest: list[Done] = []
    run = list(done[:1])
    for before, after in pairwise(done):
        quick = (after.at - before.at).total_seconds() < seconds
        run = [*run, after] if quick else [after]
        longest = max(longest, run, key=len)
    return longest


def _outside(taken_at: datetime | None, *, began: datetime, ended: datetime) -> timedelta | None:
    """How long before (below zero) or after an attempt; None inside it."""
    if taken_at is None or began <= taken_at <= ended:
        return None
    return taken_at - began if taken_at < began else taken_at - ended


def _listed(said: Sequence[str], others: str) -> str:
    more = len(said) - NAMED
    rest = f"; {more} {others}" if more > 0 else ""
    return "; ".join(said[:NAMED]) + rest + "."


def _named(others: Sequence[str]) -> str:
    more = len(others) - NAMED
    return ", ".join(others[:NAMED]) + (f" and {more} more" if more > 0 else "")


def _one_in(chance: float) -> str:
    """A small probability in words, to two figures."""
    if chance >= 0.5:
        return "as likely as not" if chance < 1 else "to be expected"
    if chance < 1e-15:
        return "less than 1 in 10¹⁵"
    times = 1 / chance
    places = 10 ** max(0, len(str(int(times))) - 2)
    return f"about 1 in {round(times / places) * places:,}"


def _duration(length: timedelta) -> str:
    seconds = round(length.total_seconds())
    if seconds < 60:
        return f"{seconds} s"
    minutes, seconds = divmod(seconds, 60)
    if minutes < 60:
        return f"{minutes} min {seconds} s" if seconds else f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    return f"{hours // 24} days"
