"""Whose shift is it? What candidates read on a rig beside its checks, and what readings that are off share.

A reading's deviation is told from the value on the sheet that its attempt was pinned to. Only readings of a
level that isn't near zero count, on a rig without a fault set; one so far off that it is a slip of the pen,
or the rig wasn't running, says nothing of a shift.
"""

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import hypot, sqrt
from statistics import fmean
from typing import NamedTuple
from uuid import UUID

from django.db.models import Case, Q, When
from django.db.models.functions import Coalesce

from assessments.models import Attempt, Reading
from assessments.models.attempts import AttemptStatus
from assessments.models.tasks import ReadingCheck
from rigs.instruments import spec_from_rows
from rigs.metrology.instruments import NoRange, Spec
from rigs.metrology.quantities import Quantity
from rigs.metrology.shifts import LEAST, Cause, Deviation, Explanation, explain
from rigs.models import Rig, SheetValue, SpecRange
from rigs.models.designs import MeasurandKind

# Instruments and people are looked at over so many days on either side: common practice, no source.
ABOUT = timedelta(days=14)
LEAST_SHOWN = 0.5  # percent: less is written as 0
# A share further off than this is a slip, and is marked as one: common practice, no source.
SLIP = 0.30
# The other explanations must leave this much between them and the likeliest, or they aren't told apart.
TOLD_APART = 0.5
# The newest so many readings of a rig are shown beside its checks, and so many at most are weighed.
MOST_SHOWN = 400
MOST_WEIGHED = 300
ALL = Q(pk__isnull=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One reading of an attempt beside the value that it was marked against: shares of that value."""

    attempt: UUID
    at: datetime
    rig: UUID
    session: UUID | None
    candidate: UUID
    candidate_name: str
    instrument: UUID
    tag: str
    sheet: str
    share: float
    u: float
    sheet_u: float

    def as_deviation(self, *, of_rig: bool, of_instrument: bool, of_person: bool) -> Deviation:
        return Deviation(
            value=self.share,
            u=self.u,
            sheet=self.sheet,
            sheet_u=self.sheet_u,
            of_rig=of_rig,
            of_instrument=of_instrument,
            of_person=of_person,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Whose:
    """What readings that are off together point to. ``off_percent`` is the attempt's own, on average.

    ``cause`` is None where that can't be told apart; the probability is then that it isn't chance.
    """

    cause: Cause | None
    probability: float
    off_percent: float
    rig: str
    instrument: str
    candidate: str

    @property
    def size(self) -> str:
        return f"{abs(self.off_percent):.0f}"

    @property
    def percent(self) -> str:
        """Its probability; where the causes aren't told apart, that it isn't chance."""
        return f"{min(99, 100 * self.probability):.0f}"

    @property
    def side(self) -> str:
        return "high" if self.off_percent > 0 else "low"


def of_attempt(attempt: Attempt) -> Whose | None:
    """What an attempt's readings are off with, by those taken about the same time.

    None where that is chance, and where its own readings aren't off, whatever others read. Three queries,
    however many readings there are.
    """
    if attempt.sheet_id is None or attempt.fault_id is not None:
        return None
    found = _about_the_time_of(attempt)
    own = [each for each in found if each.attempt == attempt.pk]
    if not own or len(found) < LEAST:
        return None
    used = Counter((each.instrument, each.tag) for each in own)
    (instrument, tag), _ = used.most_common(1)[0]
    explained = _explained(found, own[0], instrument)
    off_percent = 100 * fmean(each.share for each in own)
    if explained.cause is Cause.CHANCE or abs(off_percent) < LEAST_SHOWN:
        return None
    told_apart = explained.probability > TOLD_APART
    return Whose(
        cause=explained.cause if told_apart else None,
        probability=explained.probability if told_apart else 1 - explained.probabilities[Cause.CHANCE],
        off_percent=off_percent,
        rig=attempt.rig.tag,
        instrument=tag,
        candidate=attempt.candidate.name,
    )


def _about_the_time_of(attempt: Attempt) -> list[Seen]:
    """Readings on the rig in the attempt's session; then those with its instruments or by its candidate."""
    here = Q(attempt=attempt)
    if attempt.session_id is not None:
        here |= Q(attempt__rig=attempt.rig_id, attempt__session=attempt.session_id)
    about = Q(attempt__started_at__range=(attempt.started_at - ABOUT, attempt.started_at + ABOUT))
    carried = attempt.instruments.values("instrument")
    theirs = Q(attempt__candidate=attempt.candidate_id) | Q(instrument__instrument__in=carried)
    handed_in = Q(attempt=attempt) | ~Q(attempt__status=AttemptStatus.OPEN)
    return _seen((here | about & theirs) & handed_in, first=here, most=MOST_WEIGHED)


def _explained(found: Sequence[Seen], own: Seen, instrument: UUID) -> Explanation:
    return explain(
        [
            each.as_deviation(
                of_rig=each.attempt == own.attempt
                or (each.rig == own.rig and each.session == own.session and own.session is not None),
                of_instrument=each.instrument == instrument,
                of_person=each.candidate == own.candidate,
            )
            for each in found
        ]
    )


def on_rig(*, rig: Rig, measurand: int) -> tuple[Seen, ...]:
    """What candidates read of one measurand of a rig, in time: the newest of them. Three queries."""
    handed_in = Q(attempt__rig=rig, step__measurand=measurand) & ~Q(attempt__status=AttemptStatus.OPEN)
    return tuple(sorted(_seen(handed_in, most=MOST_SHOWN), key=lambda each: each.at))


def _seen(wanted: Q, *, first: Q = ALL, most: int) -> list[Seen]:
    """The readings wanted of a level, as they stand, on rigs without a fault set.

    Of too many it is those of ``first``, and then the newest.
    """
    found = Reading.objects.standing().filter(
        wanted,
        step__judged_by=ReadingCheck.AGREES,
        step__measurand__kind=MeasurandKind.LEVEL,
        si_value__isnull=False,
        attempt__sheet__isnull=False,
        attempt__fault=None,
    )
    place = Case(When(first, then=0), default=1)
    rows = found.order_by(place, "-received_at").values_list(*COLUMNS)[:most]
    read = [_Read(*row) for row in rows]
    values = _values({each.sheet for each in read})
    specs = _specs({each.model for each in read})
    seen = (_beside(each, values.get((each.sheet, each.measurand)), specs[each.model]) for each in read)
    return [each for each in seen if each is not None]


COLUMNS = (
    "attempt",
    Coalesce("written_at", "received_at"),
    "attempt__rig",
    "attempt__session",
    "attempt__candidate",
    "attempt__candidate__name",
    "instrument__instrument",
    "instrument__instrument__tag",
    "instrument__model",
    "step__measurand",
    "step__quantity",
    "attempt__sheet",
    "si_value",
)


class _Read(NamedTuple):
    """A row of ``COLUMNS``."""

    attempt: UUID
    at: datetime
    rig: UUID
    session: UUID | None
    candidate: UUID
    name: str
    instrument: UUID
    tag: str
    model: UUID
    measurand: int
    quantity: str
    sheet: UUID
    value: float


def _beside(read: _Read, value: SheetValue | None, spec: Spec) -> Seen | None:
    """One reading beside its sheet; None near zero, for a slip, and for one that the display can't show."""
    if value is None or not value.value or value.repeat_sd is None or value.other_u is None:
        return None
    size, share = abs(value.value), read.value / value.value - 1
    if size <= value.measurand.tolerance_floor or abs(share) > SLIP:
        return None
    try:
        shown = spec.range_for(quantity=Quantity(read.quantity), value_si=read.value)
    except NoRange:
        return None
    instrument_u = shown.standard_uncertainty(reading_si=read.value)
    return Seen(
        attempt=read.attempt,
        at=read.at,
        rig=read.rig,
        session=read.session,
        candidate=read.candidate,
        candidate_name=read.name,
        instrument=read.instrument,
        tag=read.tag,
        sheet=f"{read.sheet}:{read.measurand}",
        share=share,
        u=hypot(value.repeat_sd, instrument_u) / size,
        sheet_u=hypot(value.other_u, sqrt(value.repeat_share or 0.0) * value.repeat_sd) / size,
    )


def _values(sheets: Collection[UUID]) -> dict[tuple[UUID, int], SheetValue]:
    found = SheetValue.objects.filter(sheet__in=sheets, value__isnull=False).select_related("measurand")
    return {(each.sheet_id, each.measurand_id): each for each in found}


def _specs(models: Collection[UUID]) -> dict[UUID, Spec]:
    rows: dict[UUID, list[SpecRange]] = {each: [] for each in models}
    for row in SpecRange.objects.filter(model__in=models):
        rows[row.model_id].append(row)
    return {model: spec_from_rows(found) for model, found in rows.items()}
