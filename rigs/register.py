"""Rigs and instruments coming into use, and leaving it."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import TypeVar

from django.db import transaction
from django.db.models import Manager

from academy import ledger
from academy.models import Centre, Person
from academy.refusals import Refused
from rigs.metrology.instruments import InstrumentError, RangeSpec
from rigs.metrology.quantities import Quantity
from rigs.models import Instrument, InstrumentModel, Rig, RigDesign, SpecRange
from rigs.models.instruments import CALIBRATED_KINDS, InstrumentKind

Thing = TypeVar("Thing", Rig, Instrument)


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeLine:
    """One range of a specification as it stands on the maker's sheet, all in ``unit``."""

    quantity: Quantity
    unit: str
    full_scale: float
    resolution: float
    percent_reading: float = 0.0
    percent_full_scale: float = 0.0
    counts: float = 0.0
    continuity_threshold: float | None = None


@transaction.atomic
def add_rig(
    *,
    design: RigDesign,
    tag: str,
    by: Person,
    at: datetime,
    place: str = "",
    electrical_inspection_due: date | None = None,
) -> Rig:
    tag = tag.strip().upper()
    if Rig.objects.filter(centre=design.centre_id, tag=tag).exists():
        raise Refused(f"There is a rig {tag} already.", field="tag")
    rig = Rig.objects.create(
        centre_id=design.centre_id,
        design=design,
        tag=tag,
        place=place,
        electrical_inspection_due=electrical_inspection_due,
    )
    ledger.append(
        centre=design.centre,
        actor=by,
        verb="rig.add",
        subject=rig.pk,
        at=at,
        facts={"design": str(design.pk)},
    )
    return rig


@transaction.atomic
def change_rig(
    *, rig: Rig, place: str, electrical_inspection_due: date | None, by: Person, at: datetime
) -> Rig:
    """Note where a rig stands now, and when its electrical inspection is due next."""
    held = _in_use(Rig.objects, rig)
    held.place, held.electrical_inspection_due = place.strip(), electrical_inspection_due
    held.save(update_fields=["place", "electrical_inspection_due"])
    due = electrical_inspection_due.isoformat() if electrical_inspection_due else None
    ledger.append(
        centre=held.centre,
        actor=by,
        verb="rig.change",
        subject=held.pk,
        at=at,
        facts={"electrical_inspection_due": due},
    )
    return held


@transaction.atomic
def retire(*, thing: Thing, why: str, by: Person, at: datetime) -> None:
    """Take it out of use for good. Its records stay, and what is begun on it or with it can be finished."""
    why = why.strip()
    if not why:
        raise Refused("Say why it is retired.", field="why")
    held = _in_use(type(thing).objects, thing)
    held.retired_at, held.retired_why = at, why
    held.save(update_fields=["retired_at", "retired_why"])
    noun = "rig" if isinstance(held, Rig) else "instrument"
    ledger.append(centre=held.centre, actor=by, verb=f"{noun}.retire", subject=held.pk, at=at)


@transaction.atomic
def add_instrument_model(
    *, centre: Centre, kind: InstrumentKind, name: str, ranges: Sequence[RangeLine], by: Person, at: datetime
) -> InstrumentModel:
    """A maker's type. Its specification is evidence: it is not edited afterwards.

    Refused for a range that can't be right or is there twice, and without one where the kind is calibrated.
    """
    if InstrumentModel.objects.filter(centre=centre, name=name).exists():
        raise Refused(f"There is an instrument model called {name} already.", field="name")
    if kind in CALIBRATED_KINDS and not ranges:
        raise Refused("Give at least one range from the maker's specification.", field="ranges")
    _require_sound(ranges)
    model = InstrumentModel.objects.create(centre=centre, kind=kind, name=name)
    SpecRange.objects.bulk_create(SpecRange(model=model, **asdict(line)) for line in ranges)
    ledger.append(
        centre=centre,
        actor=by,
        verb="instrument-model.add",
        subject=model.pk,
        at=at,
        facts={"kind": str(kind)},
    )
    return model


@transaction.atomic
def add_instrument(
    *,
    model: InstrumentModel,
    tag: str,
    by: Person,
    at: datetime,
    serial: str = "",
    is_reference: bool = False,
) -> Instrument:
    tag = tag.strip().upper()
    if Instrument.objects.filter(centre=model.centre_id, tag=tag).exists():
        raise Refused(f"There is an instrument {tag} already.", field="tag")
    instrument = Instrument.objects.create(
        centre_id=model.centre_id, model=model, tag=tag, serial=serial, is_reference=is_reference
    )
    ledger.append(
        centre=model.centre,
        actor=by,
        verb="instrument.add",
        subject=instrument.pk,
        at=at,
        facts={"model": str(model.pk), "reference": is_reference},
    )
    return instrument


def _in_use(known: "Manager[Thing]", thing: Thing) -> Thing:
    """The row, locked. Refused once it is retired."""
    held = known.select_for_update(of=("self",)).select_related("centre").get(pk=thing.pk)
    if held.retired_at is not None:
        raise Refused(f"{held.tag} is retired.")
    return held


def _require_sound(ranges: Sequence[RangeLine]) -> None:
    known = set()
    for number, line in enumerate(ranges, start=1):
        try:
            RangeSpec(**asdict(line))
        except InstrumentError as error:
            raise Refused(f"Range {number}: {error}", field="ranges") from error
        if (line.unit, line.full_scale) in known:
            raise Refused(f"Range {number} is there twice: {line.full_scale:g} {line.unit}.", field="ranges")
        known.add((line.unit, line.full_scale))
