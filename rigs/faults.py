"""Faults that assessors set on rigs. Who may see them is decided elsewhere: never a candidate."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from rigs.models import Fault, FaultSetting, Rig

NC_CONTACTS = "nc-contacts"


@dataclass(frozen=True, slots=True, kw_only=True)
class Foreseen:
    """What one test point should read in one condition while a fault is set, in words with the unit."""

    test_point: str
    condition: str
    healthy: str
    faulty: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Foresight:
    """What a fault should do to a rig's readings, and which of its design's faults do the same, by slug.

    Among ``lookalikes`` “none” stands for a rig with nothing wrong.
    """

    pattern: tuple[Foreseen, ...] = ()
    lookalikes: tuple[str, ...] = ()


UNFORESEEN = Foresight()
"""Of a rig that the behaviour model knows nothing of."""


def terminals_of(test_points: Iterable[str]) -> int:
    """How many terminals the switch of a design has, from the slugs of its test points."""
    return 3 if NC_CONTACTS in set(test_points) else 2


def set_on(*, rig: Rig) -> FaultSetting | None:
    """The fault that is set on a rig now, if any."""
    return rig.fault_settings.open().select_related("fault", "set_by").first()


@transaction.atomic
def set_fault(
    *,
    rig: Rig,
    fault: Fault,
    by: Person,
    at: datetime,
    foresight: Foresight = UNFORESEEN,
    practice_only: bool = False,
) -> FaultSetting:
    """Record a fault as set, with what it should do to this rig's readings.

    With ``practice_only`` nobody is assessed on the rig until it is off again. Refused for another design's
    fault, or on top of another.
    """
    require_settable(rig=rig, fault=fault)
    setting = FaultSetting.objects.create(
        rig=rig,
        fault=fault,
        set_by=by,
        set_at=at,
        practice_only=practice_only,
        pattern=[asdict(each) for each in foresight.pattern],
        lookalikes=list(foresight.lookalikes),
    )
    facts: dict[str, ledger.Fact] = {"rig": str(rig.pk), "practice_only": practice_only}
    ledger.append(centre=rig.centre, actor=by, verb="fault.set", subject=setting.pk, at=at, facts=facts)
    return setting


def require_settable(*, rig: Rig, fault: Fault) -> None:
    """Refused for another design's fault, or on top of another."""
    if fault.design_id != rig.design_id:
        raise Refused(f"{rig.tag} is not a rig that can have this fault.", field="fault")
    if set_on(rig=rig) is not None:
        raise Refused(f"A fault is set on {rig.tag} already: record it as removed first.", field="fault")


@transaction.atomic
def remove(*, setting: FaultSetting, by: Person, at: datetime) -> FaultSetting:
    """Record a fault as taken off by the person who did it."""
    held = FaultSetting.objects.select_for_update().get(pk=setting.pk)
    if held.removed_at is not None:
        raise Refused("This fault was recorded as removed already.")
    held.removed_by, held.removed_at = by, at
    held.save(update_fields=["removed_by", "removed_at"])
    ledger.append(
        centre=held.rig.centre,
        actor=by,
        verb="fault.remove",
        subject=held.pk,
        at=at,
        facts={"rig": str(held.rig_id)},
    )
    return held
