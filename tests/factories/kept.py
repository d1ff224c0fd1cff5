"""What a centre keeps about people: a link that waits to be used, and records on hold."""

from datetime import datetime
from types import SimpleNamespace
from typing import Any

from academy import invitations, retention
from academy.models import Person, Role
from tests.factories.academy import person_with


def beside_people(*, by: Person, at: datetime) -> dict[str, Any]:
    held = person_with(Role.Kind.CANDIDATE, by=by)
    issued = invitations.give_link(person=person_with(Role.Kind.CANDIDATE, by=by), by=by, at=at)
    return {
        "held": held,
        "record-hold": retention.place_hold(
            person=held, cause="other", reason="Asked for by the funder.", by=by, at=at
        ),
        "link": issued.link,
        "link-token": SimpleNamespace(pk=issued.token),
    }
