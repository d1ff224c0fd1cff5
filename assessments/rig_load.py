"""How busy rigs are: attempts that are open on them, and those begun in a session."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Count, Q

from assessments.models import Attempt
from assessments.models.attempts import AttemptStatus
from rigs.models import Rig, Session


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    open: int = 0
    started: int = 0


def load(*, rigs: Collection[Rig], session: Session | None) -> Mapping[UUID, Load]:
    """By rig, those with none left out. ``started`` are those of the session, whatever became of them."""
    is_open, is_started = Q(status=AttemptStatus.OPEN), Q(session=session) & ~Q(session=None)
    rows = (
        Attempt.objects.filter(is_open | is_started, rig__in=rigs)
        .order_by()
        .values_list("rig")
        .annotate(opened=Count("pk", filter=is_open), begun=Count("pk", filter=is_started))
    )
    return {rig: Load(open=opened, started=begun) for rig, opened, begun in rows}
