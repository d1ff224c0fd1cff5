from typing import Any

from django import forms
from django.contrib import messages
from django.shortcuts import get_object_or_404
from django.urls import reverse_lazy
from django.utils.functional import cached_property

from academy import cohorts
from academy.forms import CohortForm, MembershipEndForm, MembershipForm
from academy.models import Cohort, Membership
from academy.permissions import Permission
from academy.views.people import AboutPersonView
from academy.views.verb_form import VerbFormView


class CohortCreate(VerbFormView):
    permission = Permission.COHORT_MANAGE
    form_class = CohortForm
    success_url = reverse_lazy("cohort-matrix")
    section = "cohorts"
    heading = "Open a cohort"
    intro = "People who train together. Add them to it from their own pages, or as they are added."

    def get_initial(self) -> dict[str, Any]:
        return {"starts_on": self.today}

    def carry_out(self, form: forms.Form) -> Cohort:
        cohort = cohorts.open_cohort(centre=self.centre, **form.cleaned_data, by=self.person, at=self.now)
        messages.success(self.request, f"{cohort.name} is open.")
        return cohort


class MembershipCreate(AboutPersonView):
    permission = Permission.COHORT_MANAGE
    form_class = MembershipForm
    heading = "Add to a cohort"

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"centre": self.centre}

    def get_initial(self) -> dict[str, Any]:
        return {"joined_on": self.today}

    def carry_out(self, form: forms.Form) -> Membership:
        given = form.cleaned_data
        return cohorts.add_member(
            cohort=given["cohort"], person=self.shown, on=given["joined_on"], by=self.person, at=self.now
        )


class MembershipEnd(AboutPersonView):
    permission = Permission.COHORT_MANAGE
    form_class = MembershipEndForm
    heading = "Take out of a cohort"

    @cached_property
    def membership(self) -> Membership:
        mine = Membership.objects.select_related("cohort__centre", "person").filter(person=self.shown)
        return get_object_or_404(mine, pk=self.kwargs["membership"])

    @property
    def intro(self) -> str:
        return f"{self.shown.name}, {self.membership.cohort.name}"

    def get_initial(self) -> dict[str, Any]:
        return {"left_on": max(self.today, self.membership.joined_on)}

    def carry_out(self, form: forms.Form) -> Membership:
        return cohorts.remove_member(
            membership=self.membership, on=form.cleaned_data["left_on"], by=self.person, at=self.now
        )
