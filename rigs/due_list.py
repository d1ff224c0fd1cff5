"""Everything at the bench that is to be seen to again by a date: one list, whatever kind of thing it is."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from uuid import UUID

from academy.models import Centre
from rigs.due_dates import Due, due, months_after
from rigs.models import Baseline, Calibration, Instrument, Rig
from rigs.models.instruments import CALIBRATED_KINDS


class Duty(StrEnum):
    CALIBRATION = "calibration"
    INSPECTION = "electrical inspection"
    BASELINE = "baseline"


@dataclass(frozen=True, slots=True, kw_only=True)
class DueItem:
    """``due_on`` is None for what has never been done. ``since`` is the day of the evidence that runs out."""

    duty: Duty
    tag: str
    pk: UUID
    due_on: date | None
    since: date | None = None

    @property
    def is_of_a_rig(self) -> bool:
        return self.duty is not Duty.CALIBRATION

    def state(self, *, on: date) -> Due:
        return Due.OVERDUE if self.due_on is None else due(self.due_on, on=on)


def due_items(*, centre: Centre) -> list[DueItem]:
    """What is in use, by date; what was never done comes first. Four queries."""
    found = [*_calibrations(centre), *_inspections(centre), *_baselines(centre)]
    return sorted(found, key=lambda item: (item.due_on or date.min, item.tag, item.duty))


def _calibrations(centre: Centre) -> Iterator[DueItem]:
    instruments = Instrument.objects.filter(centre=centre, model__kind__in=CALIBRATED_KINDS).in_use()
    newest: dict[UUID, Calibration] = {}
    for calibration in Calibration.objects.filter(instrument__in=instruments):
        newest.setdefault(calibration.instrument_id, calibration)  # the latest comes first
    for instrument in instruments:
        last = newest.get(instrument.pk)
        yield DueItem(
            duty=Duty.CALIBRATION,
            tag=instrument.tag,
            pk=instrument.pk,
            due_on=last.due_on if last else None,
            since=last.calibrated_on if last else None,
        )


def _inspections(centre: Centre) -> Iterator[DueItem]:
    for rig in Rig.objects.filter(centre=centre, electrical_inspection_due__isnull=False).in_use():
        yield DueItem(duty=Duty.INSPECTION, tag=rig.tag, pk=rig.pk, due_on=rig.electrical_inspection_due)


def _baselines(centre: Centre) -> Iterator[DueItem]:
    approved = Baseline.objects.approved().filter(rig__centre=centre, rig__retired_at=None)
    newest: dict[UUID, Baseline] = {}
    for baseline in approved.select_related("rig"):
        known = newest.get(baseline.rig_id)
        if known is None or baseline.number > known.number:
            newest[baseline.rig_id] = baseline
    for baseline in newest.values():
        assert baseline.decided_at is not None  # approved
        on = centre.date_at(baseline.decided_at)
        yield DueItem(
            duty=Duty.BASELINE,
            tag=baseline.rig.tag,
            pk=baseline.rig_id,
            due_on=months_after(on, months=centre.baseline_months),
            since=on,
        )
