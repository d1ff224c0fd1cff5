"""What a scanned label leads to: for each role, what it does at the bench."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.views.generic import DetailView, View

from academy.access import AccessMixin, request_permissions
from academy.permissions import Permission
from assessments.models import Attempt, Ticket
from assessments.models.attempts import AT_WORK, AttemptStatus
from rigs import instruments, sessions
from rigs.models import Instrument, Rig

RECENT = 20


class Scan(AccessMixin, View):
    """The address on a label. A stranger signs in first, and is led on then."""

    permission = Permission.SIGNED_IN

    def get(self, request: HttpRequest, pk: UUID) -> HttpResponseBase:
        rig = Rig.objects.visible_to(self.person).filter(pk=pk).first()
        if rig is not None:
            return self._to_rig(rig)
        if not Instrument.objects.visible_to(self.person).filter(pk=pk).exists():
            raise Http404
        page = self._first_allowed(
            (Permission.INSTRUMENT_READ, "instrument-detail"), (Permission.ATTEMPT_WORK, "instrument-use")
        )
        return redirect(page, pk)

    def _to_rig(self, rig: Rig) -> HttpResponseBase:
        page = self._first_allowed(
            (Permission.ATTEMPT_DECIDE, "rig-attempts"),
            (Permission.RIG_READ, "rig-detail"),
            (Permission.ATTEMPT_WORK, "bench-rig"),
        )
        if page == "bench-rig" and rig.retired_at is not None:
            messages.error(self.request, f"{rig.tag} is retired: nothing is done on it any more.")
            return redirect("bench-home")
        return redirect(page, rig.pk)

    def _first_allowed(self, *pages: tuple[Permission, str]) -> str:
        mine = request_permissions(self.request)
        page = next((page for permission, page in pages if permission in mine), None)
        if page is None:
            raise Http404  # a label leads them nowhere
        return page


class RigAttempts(AccessMixin, DetailView):
    """Who is at work on a rig, and what was handed in on it; without a number."""

    permission = Permission.ATTEMPT_READ
    template_name = "assessments/rig-attempts.html"
    context_object_name = "rig"
    section = "rigs"

    def get_queryset(self) -> QuerySet[Rig]:
        session = sessions.current(centre=self.centre, at=self.now)
        return Rig.objects.visible_to(self.person).with_board(session=session).select_related("design")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        found = Attempt.objects.visible_to(self.person).filter(rig=self.object)
        found = found.select_related("candidate", "version__task").with_decision()
        return super().get_context_data(
            at_work=found.filter(status__in=AT_WORK).order_by("-started_at"),
            waiting=found.filter(status__in=(AttemptStatus.SUBMITTED, AttemptStatus.COUNTERSIGN)).order_by(
                "submitted_at"
            ),
            decided=found.filter(status=AttemptStatus.SIGNED_OFF).order_by("-submitted_at")[:RECENT],
            tickets=Ticket.objects.filter(rig=self.object)
            .outstanding(at=self.now)
            .select_related("candidate", "version__task"),
            hold=self.object.holds.open().select_related("placed_by").first(),
            **context,
        )


class InstrumentUse(AccessMixin, DetailView):
    """For a candidate: whether to use what is in their hand. No numbers, and no reasons that are staff's."""

    permission = Permission.ATTEMPT_WORK
    template_name = "assessments/instrument-use.html"
    context_object_name = "instrument"
    section = "bench"

    def get_queryset(self) -> QuerySet[Instrument]:
        found = Instrument.objects.visible_to(self.person).select_related("model")
        return found.prefetch_related("calibrations", "holds")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        kind = self.object.model.kind
        why_not = instruments.refusal(instrument=self.object, kind=kind, on=self.today)
        return super().get_context_data(may_be_used=why_not is None, **context)
