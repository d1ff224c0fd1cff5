"""Setting and removing faults around people's attempts: never under somebody's hands."""

from datetime import datetime

from django.db import transaction

from academy.models import Person
from academy.refusals import Refused
from assessments.attempts import open_on
from rigs import faults
from rigs.models import Fault, FaultSetting, Rig


@transaction.atomic
def set_fault(*, rig: Rig, fault: Fault, by: Person, at: datetime) -> FaultSetting:
    _require_free(rig)
    return faults.set_fault(rig=rig, fault=fault, by=by, at=at)


@transaction.atomic
def remove(*, setting: FaultSetting, by: Person, at: datetime) -> FaultSetting:
    _require_free(setting.rig)
    return faults.remove(setting=setting, by=by, at=at)


def _require_free(rig: Rig) -> None:
    Rig.objects.lock(rig)  # nobody starts on it meanwhile
    if open_on(rig=rig):
        raise Refused(f"Somebody is working on {rig.tag}: wait until they have handed in.")
