"""Setting and removing faults around people's attempts: never under somebody's hands."""

from datetime import datetime

from django.db import transaction

from academy.models import Person
from academy.refusals import Refused
from assessments import disclosure
from assessments.attempts import open_on, ticket_out_for
from assessments.foresight import Outlook, outlook
from rigs import faults, sheets
from rigs.models import Fault, FaultSetting, Rig


@transaction.atomic
def set_fault(
    *, rig: Rig, fault: Fault, by: Person, at: datetime, practice_only: bool = False
) -> FaultSetting:
    """Record a fault as set, with what it should do to this rig's readings.

    Who sets it sees that, and so what the rig reads. Unless it is for practice only, it is refused where the
    readings of a task of finding faults can't tell it from another on this rig, naming what it looks like.
    """
    _require_free(rig, at=at)
    faults.require_settable(rig=rig, fault=fault)
    if sheets.newest(rig=rig) is None:
        sheets.for_start(rig=rig, at=at)
    seen = outlook(rig=rig, fault=fault)
    if not practice_only:
        _require_told_apart(rig, fault, seen)
    setting = faults.set_fault(
        rig=rig, fault=fault, by=by, at=at, foresight=seen.foresight, practice_only=practice_only
    )
    if setting.pattern:
        disclosure.note_seen(person=by, rig=rig, at=at)
    return setting


@transaction.atomic
def remove(*, setting: FaultSetting, by: Person, at: datetime) -> FaultSetting:
    _require_free(setting.rig, at=at)
    return faults.remove(setting=setting, by=by, at=at)


def _require_free(rig: Rig, *, at: datetime) -> None:
    Rig.objects.lock(rig)  # nobody starts on it meanwhile
    if open_on(rig=rig, at=at):
        raise Refused(f"Somebody is working on {rig.tag}: wait until they have handed in.")
    if ticket_out_for(rig=rig, at=at):
        raise Refused(
            f"Somebody has a ticket to work on {rig.tag} without a network: it can be withdrawn from the "
            "rig’s page of attempts."
        )


def _require_told_apart(rig: Rig, fault: Fault, seen: Outlook) -> None:
    if seen.is_sought and seen.why_not:
        raise Refused(f"{seen.why_not} Set it for practice only.", field="fault")
    for each in seen.alike:
        raise Refused(
            f"On {rig.tag} the readings of “{each.task}” can’t tell “{fault.label}” from "
            f"{_listed(each.others)}. Choose another fault, or set this one for practice only.",
            field="fault",
        )


def _listed(labels: tuple[str, ...]) -> str:
    *first, last = (f"“{each}”" for each in labels)
    return f"{', '.join(first)} or {last}" if first else last
