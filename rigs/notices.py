"""What waits at the bench: holds, overdue dates, checks not made, faults left set, baselines to decide."""

from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any

from django.urls import reverse

from academy.notices import Notice, Reader, Urgency
from academy.permissions import Permission
from rigs import sessions
from rigs.due_dates import Due
from rigs.due_list import DueItem, due_items
from rigs.models import Baseline, FaultSetting, Hold, Rig
from rigs.models.baselines import BaselineStatus
from rigs.models.checks import CheckVerdict

URGENCY = {Due.OVERDUE: Urgency.NOW, Due.SOON: Urgency.COMING}


def notices(reader: Reader) -> Iterator[Notice]:
    if reader.may(Permission.HOLD_PLACE):
        yield from _holds(reader)
    if reader.may(Permission.FAULT_SET):
        yield from _faults_left(reader)
    if reader.may(Permission.BASELINE_APPROVE):
        yield from _baselines(reader)
    if reader.may(Permission.RIG_CHECK):
        yield from _checks(reader)
    if reader.may(Permission.INSTRUMENT_MANAGE) or reader.may(Permission.RIG_MANAGE):
        yield from _due(reader)


def _holds(reader: Reader) -> Iterator[Notice]:
    held = Hold.objects.visible_to(reader.person).open().select_related("rig", "instrument")
    for hold in held:
        thing = hold.rig or hold.instrument
        assert thing is not None  # the database sees to it
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"{thing.tag} is on hold: {hold.reason}",
            url=reverse("rig-detail" if hold.rig else "instrument-detail", args=[thing.pk]),
            on=reader.centre.date_at(hold.placed_at),
        )


def _faults_left(reader: Reader) -> Iterator[Notice]:
    """Those set on an earlier day: the next group would find them."""
    for setting in FaultSetting.objects.visible_to(reader.person).open().select_related("rig", "fault"):
        on = reader.centre.date_at(setting.set_at)
        if on < reader.today:
            yield Notice(
                urgency=Urgency.NOW,
                text=f"A fault is still set on {setting.rig.tag}: {setting.fault.label.lower()}",
                url=reverse("rig-detail", args=[setting.rig_id]),
                on=on,
            )


def _baselines(reader: Reader) -> Iterator[Notice]:
    waiting = Baseline.objects.filter(rig__centre=reader.centre, status=BaselineStatus.WAITING)
    for baseline in waiting.exclude(made_by=reader.person).select_related("rig"):
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"{baseline.rig.tag}: baseline {baseline.number} waits for a second person",
            url=reverse("baseline-decide", args=[baseline.pk]),
            on=reader.centre.date_at(baseline.started_at),
        )


def _checks(reader: Reader) -> Iterator[Notice]:
    session = sessions.current(centre=reader.centre, at=reader.at)
    rigs: Iterable[Any] = Rig.objects.visible_to(reader.person).in_use().with_board(session=session)
    for rig in rigs:
        if rig.held or rig.baseline_number is None:
            continue
        if rig.check_verdict in {CheckVerdict.WATCH, CheckVerdict.HOLD}:
            said = "is drifting" if rig.check_verdict == CheckVerdict.WATCH else "is proposed for a hold"
            yield Notice(
                urgency=Urgency.NOW if rig.check_verdict == CheckVerdict.HOLD else Urgency.WAITING,
                text=f"{rig.tag} {said} by its last check",
                url=reverse("rig-detail", args=[rig.pk]),
                on=reader.centre.date_at(rig.checked_at),
            )
        if session is not None and not rig.checked_now:
            yield Notice(
                urgency=Urgency.WAITING,
                text=f"{rig.tag} isn’t checked this session: practice only until it is",
                url=reverse("check-record", args=[rig.pk]),
                on=reader.today,
            )


def _due(reader: Reader) -> Iterator[Notice]:
    for item in due_items(centre=reader.centre):
        if not reader.may(Permission.RIG_MANAGE if item.is_of_a_rig else Permission.INSTRUMENT_MANAGE):
            continue
        if item.state(on=reader.today) in URGENCY:
            yield _of(item, on=reader.today)


def _of(item: DueItem, *, on: date) -> Notice:
    url = reverse("rig-detail" if item.is_of_a_rig else "instrument-detail", args=[item.pk])
    if item.due_on is None:
        return Notice(urgency=Urgency.WAITING, text=f"{item.tag} has no certificate", url=url)
    state = item.state(on=on)
    said = "overdue" if state is Due.OVERDUE else "due soon"
    return Notice(urgency=URGENCY[state], text=f"{item.tag}: {item.duty} {said}", url=url, on=item.due_on)
