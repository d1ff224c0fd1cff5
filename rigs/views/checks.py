from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.functional import cached_property

from academy.permissions import Permission
from rigs import baselines, checks, sessions
from rigs.forms.readings import CheckForm
from rigs.models import Check, Session
from rigs.views.about import AboutRigView
from rigs.views.references import RemembersReferences


class CheckRecord(RemembersReferences, AboutRigView):
    """Three runs on one page; the verdict is on the next."""

    permission = Permission.RIG_CHECK
    form_class = CheckForm
    template_name = "rigs/check-record.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if baselines.in_force(rig=self.rig) is None:
            messages.error(request, f"{self.rig.tag} has no approved baseline yet: make one first.")
            return redirect("rig-detail", self.rig.pk)
        return super().get(request, *args, **kwargs)

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {
            "centre": self.centre,
            "measurands": checks.measurands_of(self.rig),
            "repeats": range(1, checks.LEAST_REPEATS + 1),
            "remembered": self.remembered,
            "asks_for_room": self.session is None or not self.session.has_room,
            "accuracies": self.accuracies,
        }

    @cached_property
    def session(self) -> Session | None:
        return sessions.current(centre=self.centre, at=self.now)

    def carry_out(self, form: CheckForm) -> Check:
        check = checks.record(
            id=form.cleaned_data["id"],
            rig=self.rig,
            runs=form.runs,
            instruments=form.instruments,
            by=self.person,
            at=self.now,
            room=form.room,
        )
        self.remember(form.instruments)
        self.remember_accuracies(form.accuracies)
        return check

    def get_success_url(self) -> str:
        return reverse("check-detail", args=[self.done.pk])
