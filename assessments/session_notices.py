"""What a session asks of somebody now: a call for the assessor, a stop that stands."""

from collections.abc import Iterator

from django.urls import reverse

from academy.notices import Notice, Reader, Urgency
from academy.permissions import Permission
from assessments import stops
from assessments.models import HelpCall


def notices(reader: Reader) -> Iterator[Notice]:
    if reader.may(Permission.SESSION_READ):
        yield from _stopped(reader)
    if reader.may(Permission.ATTEMPT_DECIDE):
        yield from _calls(reader)


def _stopped(reader: Reader) -> Iterator[Notice]:
    stopped = stops.standing(centre=reader.centre)
    if stopped is not None:
        yield Notice(
            urgency=Urgency.NOW,
            text="The session is stopped: it waits for an assessor to let it go on",
            url=reverse("session-stopped", args=[stopped.pk]),
            on=reader.centre.date_at(stopped.stopped_at),
            in_the_room=True,
        )


def _calls(reader: Reader) -> Iterator[Notice]:
    calls = HelpCall.objects.open().filter(attempt__rig__centre=reader.centre)
    calls = calls.exclude(attempt__candidate=reader.person)
    for call in calls.select_related("attempt__candidate", "attempt__rig"):
        yield Notice(
            urgency=Urgency.NOW,
            text=f"{call.attempt.candidate} asks for the assessor at {call.attempt.rig}",
            url=reverse("session-board"),
            on=reader.centre.date_at(call.asked_at),
            in_the_room=True,
        )
