"""Checks as rows: one a reading; the rows of one check have its name.

A check is brought in after those that were made before it: what a rig read on a day doesn't change later.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from uuid import UUID, uuid5

from django.db.models import Q

from academy.models import Centre
from academy.permissions import Permission
from academy.refusals import Refused
from academy.transfer import cells
from academy.transfer.kinds import Kind, RowRefused, Sender, require_same
from academy.transfer.tables import CellRefused, Column, Row, Value
from rigs import baselines, checks, instruments
from rigs.instruments import kind_for
from rigs.metrology.quantities import Quantity
from rigs.metrology.readings import TypedReading
from rigs.models import Check, CheckReading, Instrument, Measurand, Rig
from rigs.transfer import readings

CHECK, RIG, MADE, RUN = "check", "rig", "made at", "run"
POINT, CONDITION, READING, INSTRUMENT = "test point", "condition", "reading", "instrument"

Runs = dict[int, dict[Measurand, TypedReading]]


def bring_in(rows: Sequence[Row], sender: Sender) -> bool:
    head = require_same(rows, (RIG, MADE))
    rig = _rig(head, sender.centre)
    made_at = cells.moment(head, MADE, zone=sender.centre.zone)
    runs, used = _readings(rows, rig, centre=sender.centre)
    pk = _id_of(head, rig=rig, made_at=made_at)
    known = Check.objects.filter(pk=pk).first()
    if known is not None:
        _require_unchanged(known, rig=rig, runs=runs)
        return False
    _require_its_time(rig, made_at=made_at, now=sender.at)
    checks.record(
        id=pk,
        rig=rig,
        runs=[runs[number] for number in sorted(runs)],
        instruments=used,
        by=sender.by,
        at=made_at,
        entered_at=sender.at,
    )
    return True


def written(rig: Rig) -> Iterator[Sequence[Value]]:
    """One rig's checks, the oldest first: whoever gets them has seen what the rig reads."""
    found = CheckReading.objects.filter(rig_check__rig=rig).select_related(
        "rig_check", "measurand__test_point", "measurand__condition", "instrument"
    )
    for each in found.order_by("rig_check__made_at", "rig_check", "repeat", "measurand__position"):
        yield (
            str(each.rig_check_id),
            rig.tag,
            each.rig_check.made_at.astimezone(rig.centre.zone).isoformat(),
            each.repeat,
            each.measurand.test_point.slug,
            each.measurand.condition.slug,
            each.text,
            each.instrument.tag,
        )


def _rig(row: Row, centre: Centre) -> Rig:
    tag = cells.text(row, RIG).upper()
    found = Rig.objects.filter(centre=centre, tag=tag).select_related("centre", "design").first()
    if found is None:
        raise CellRefused(f"There is no rig {tag}.", column=RIG)
    if found.retired_at is not None:
        raise CellRefused(f"{tag} is retired.", column=RIG)
    return found


def _readings(rows: Sequence[Row], rig: Rig, *, centre: Centre) -> tuple[Runs, Mapping[str, Instrument]]:
    measurands = {
        (name, state): each
        for each in checks.measurands_of(rig)
        for name in (each.test_point.slug, each.test_point.label.casefold())
        for state in (each.condition.slug, each.condition.label.casefold())
    }
    kinds = {kind_for(each) for each in measurands.values()}
    shelf = {each.tag: each for each in instruments.choices(centre=centre, kinds=kinds)}
    runs: Runs = defaultdict(dict)
    used: dict[str, Instrument] = {}
    for row in rows:
        try:
            measurand = _measurand(row, measurands, rig)
            _put(row, measurand, run=runs[cells.whole(row, RUN)])
            _take(row, measurand, shelf=shelf, used=used)
        except CellRefused as refusal:
            raise RowRefused(str(refusal), row=row, column=refusal.column) from refusal
    return runs, used


def _measurand(row: Row, measurands: Mapping[tuple[str, str], Measurand], rig: Rig) -> Measurand:
    point, condition = cells.text(row, POINT), cells.text(row, CONDITION)
    found = measurands.get((point.casefold(), condition.casefold()))
    if found is None:
        listed = ", ".join(
            dict.fromkeys(f"{each.test_point.slug} {each.condition.slug}" for each in measurands.values())
        )
        raise CellRefused(
            f"A check of {rig.tag} doesn’t read “{point}” in “{condition}”. It reads: {listed}.", column=POINT
        )
    return found


def _put(row: Row, measurand: Measurand, *, run: dict[Measurand, TypedReading]) -> None:
    if measurand in run:
        raise CellRefused("This reading is there twice.", column=POINT)
    point = measurand.test_point
    run[measurand] = readings.reading(row, READING, quantity=Quantity(point.quantity), unit=point.unit)


def _take(
    row: Row, measurand: Measurand, *, shelf: Mapping[str, Instrument], used: dict[str, Instrument]
) -> None:
    """Note the instrument of a reading. A check has one of each kind."""
    tag, kind = cells.text(row, INSTRUMENT).upper(), kind_for(measurand)
    instrument = shelf.get(tag)
    if instrument is None or instrument.model.kind != kind:
        raise CellRefused(f"There is no {kind.label.lower()} {tag} in use.", column=INSTRUMENT)
    if used.setdefault(kind, instrument) != instrument:
        raise CellRefused(
            f"A check is read with one {kind.label.lower()}, and {used[kind].tag} was used before.",
            column=INSTRUMENT,
        )


def _id_of(row: Row, *, rig: Rig, made_at: datetime) -> UUID:
    """The same for the same check each time: its own where the file was written here, or else by its name."""
    name = cells.text(row, CHECK)
    try:
        return UUID(name)
    except ValueError:
        return uuid5(rig.pk, f"{name} {made_at.timestamp()}")


def _require_unchanged(known: Check, *, rig: Rig, runs: Runs) -> None:
    recorded = {(each.measurand_id, each.repeat): each.text.strip() for each in known.readings.all()}
    sent = {
        (measurand.pk, number): typed.text.strip()
        for number, run in enumerate((runs[each] for each in sorted(runs)), start=1)
        for measurand, typed in run.items()
    }
    if known.rig_id != rig.pk or recorded != sent:
        raise CellRefused("This check is on record already, with other readings.", column=CHECK)


def _require_its_time(rig: Rig, *, made_at: datetime, now: datetime) -> None:
    if made_at > now:
        raise CellRefused("This lies in the future.", column=MADE)
    baseline = baselines.in_force(rig=rig)
    if baseline is not None and baseline.decided_at is not None and made_at < baseline.decided_at:
        raise CellRefused(
            f"Baseline {baseline.number} of {rig.tag} is in force, and was approved after this.", column=MADE
        )
    later = rig.checks.filter(made_at__gte=made_at).exists()
    if later:
        raise CellRefused(
            f"{rig.tag} has a check of this time or later already. Checks are brought in as they were made, "
            "the oldest first.",
            column=MADE,
        )
    was_set = rig.fault_settings.filter(Q(removed_at=None) | Q(removed_at__gt=made_at), set_at__lte=made_at)
    if was_set.exists():
        raise Refused(f"A fault was set on {rig.tag} then.")


CHECKS = Kind(
    slug="checks",
    title="Checks",
    permission=Permission.RIG_CHECK,
    columns=(
        Column(name=CHECK, help="a name that its rows share, such as 14"),
        Column(name=RIG, help="the rig’s tag", most=20),
        Column(name=MADE, help="such as 2026-03-14 09:15, by the centre’s clock"),
        Column(name=RUN, help="1, 2, 3"),
        Column(name=POINT, help="as in the rig’s design"),
        Column(name=CONDITION, help="as in the rig’s design"),
        Column(name=READING, help="as the display showed it, OL too"),
        Column(name=INSTRUMENT, help="the reference instrument’s tag", most=20),
    ),
    bring_in=bring_in,
    named_by=CHECK,
    together=(RIG, CHECK),
    fields={"manometer": INSTRUMENT, "multimeter": INSTRUMENT, "thermometer": INSTRUMENT},
)
