"""Faults that assessors set on rigs. Who may see them is decided elsewhere: never a candidate."""

from datetime import datetime

from django.db import transaction

from academy import ledger
from academy.models import Person
from academy.refusals import Refused
from rigs.models import Fault, FaultSetting, Rig


def set_on(*, rig: Rig) -> FaultSetting | None:
    """The fault that is set on a rig now, if any."""
    return rig.fault_settings.open().select_related("fault", "set_by").first()


@transaction.atomic
def set_fault(*, rig: Rig, fault: Fault, by: Person, at: datetime) -> FaultSetting:
    """Record a fault as set. Refused for another design's fault, or on top of another."""
    if fault.design_id != rig.design_id:
        raise Refused(f"{rig.tag} is not a rig that can have this fault.", field="fault")
    if set_on(rig=rig) is not None:
        raise Refused(f"A fault is set on {rig.tag} already: record it as removed first.", field="fault")
    setting = FaultSetting.objects.create(rig=rig, fault=fault, set_by=by, set_at=at)
    ledger.append(
        centre=rig.centre, actor=by, verb="fault.set", subject=setting.pk, at=at, facts={"rig": str(rig.pk)}
    )
    return setting


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
