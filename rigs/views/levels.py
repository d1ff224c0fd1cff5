from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import DetailView

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.refusals import Refused
from academy.views.verb_form import VerbFormView
from rigs import levels
from rigs.forms.levels import AdoptForm, LevelsForm
from rigs.models import LevelFigures, Measurand, RigDesign
from rigs.views.about import VerbButtonView


class DesignLevels(AccessMixin, DetailView):
    """The figures in force for each level of a design beside what its rigs' checks say of them."""

    permission = Permission.RIG_READ
    template_name = "rigs/design-levels.html"
    context_object_name = "design"
    section = "rigs"

    def get_queryset(self) -> QuerySet[RigDesign]:
        return RigDesign.objects.filter(centre=self.centre)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        standings = levels.standings(self.object)
        return super().get_context_data(standings=standings, least=levels.LEAST_CHECKS, **context)


class AboutMeasurand(AccessMixin):
    """What is set of one measurand, whose design's page it goes back to."""

    permission = Permission.RIG_MANAGE
    section = "rigs"
    kwargs: dict[str, Any]

    @cached_property
    def measurand(self) -> Measurand:
        found = Measurand.objects.filter(design__centre=self.centre, kind="level")
        return get_object_or_404(
            found.select_related("design__centre", "test_point", "condition"), pk=self.kwargs["pk"]
        )

    @property
    def back(self) -> str:
        return reverse("design-levels", args=[self.measurand.design_id])


class LevelsSet(AboutMeasurand, VerbFormView):
    form_class = LevelsForm
    heading = "Set drift and session effect"

    @property
    def intro(self) -> str:
        return f"{self.measurand}, {self.measurand.design.name.lower()}"

    def get_initial(self) -> dict[str, Any]:
        figures = levels.in_force([self.measurand])[self.measurand.pk]
        return {
            "drift_percent": f"{figures.drift_percent:.4g}",
            "session_percent": f"{figures.session_percent:.4g}",
        }

    def carry_out(self, form: LevelsForm) -> LevelFigures:
        done = levels.set_by_hand(measurand=self.measurand, **form.cleaned_data, by=self.person, at=self.now)
        messages.success(self.request, f"{self.measurand}: in force from now on.")
        return done

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.back, **context)

    def get_success_url(self) -> str:
        return self.back


class LevelsAdopt(AboutMeasurand, VerbButtonView):
    def carry_out(self) -> str:
        form = AdoptForm(self.request.POST)
        if not form.is_valid():
            raise Refused("Look at the estimate before you adopt it.")
        levels.adopt(
            measurand=self.measurand, checks=form.cleaned_data["checks"], by=self.person, at=self.now
        )
        messages.success(self.request, f"{self.measurand}: the estimate is in force from now on.")
        return self.back

    def came_from(self) -> str:
        return self.back
