from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Prefetch, Q, QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse, reverse_lazy
from django.utils.functional import cached_property
from django.views.generic import DetailView, ListView

from academy import people
from academy.access import AccessMixin
from academy.forms import EraseForm, PasswordForm, PersonForm, RoleEndForm, RoleForm
from academy.models import Membership, Person, Role
from academy.permissions import Permission
from academy.views.verb_form import VerbFormView


class PersonList(AccessMixin, ListView):
    permission = Permission.PEOPLE_MANAGE
    template_name = "academy/person-list.html"
    section = "people"
    paginate_by = 50

    def get_queryset(self) -> QuerySet[Person]:
        on = self.today
        found = Person.objects.visible_to(self.person).filter(erased_at=None)
        if self.query:
            found = found.filter(Q(name__icontains=self.query) | Q(email__icontains=self.query))
        return found.prefetch_related(
            Prefetch("roles", Role.objects.in_force(on=on), to_attr="roles_today"),
            Prefetch(
                "memberships",
                Membership.objects.in_force(on=on).select_related("cohort"),
                to_attr="memberships_today",
            ),
        )

    @property
    def query(self) -> str:
        """What the list is narrowed to: part of a name or an address."""
        return self.request.GET.get("q", "").replace("\0", "").strip()


class PersonDetail(AccessMixin, DetailView):
    permission = Permission.PEOPLE_MANAGE
    template_name = "academy/person-detail.html"
    context_object_name = "shown"
    section = "people"

    def get_queryset(self) -> QuerySet[Person]:
        return Person.objects.visible_to(self.person)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            roles=self.object.roles.all(),
            memberships=self.object.memberships.select_related("cohort"),
            holds=self.object.record_holds.select_related("placed_by", "lifted_by"),
            link=self.object.access_links.open(at=self.now).first(),
            can_sign_in=self.object.has_usable_password(),
            today=self.today,
            **context,
        )


class PersonCreate(VerbFormView):
    permission = Permission.PEOPLE_MANAGE
    form_class = PersonForm
    section = "people"
    heading = "Add a person"

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"centre": self.centre}

    def get_initial(self) -> dict[str, Any]:
        return {"starts_on": self.today}

    def newcomer(self, form: forms.Form) -> dict[str, Any]:
        """Who it is, in what role and for how long, as the verbs take it; and who says so."""
        given = form.cleaned_data
        return {
            **{name: given[name] for name in ("name", "email", "kinds", "cohort")},
            "centre": self.centre,
            "by": self.person,
            "at": self.now,
            "on": given["starts_on"],
            "until": given["ends_on"],
        }

    def carry_out(self, form: forms.Form) -> object:
        return people.add_person(password=form.cleaned_data["password"], **self.newcomer(form))

    def get_success_url(self) -> str:
        return reverse("person-detail", args=[self.done.pk])


class AboutPersonView(VerbFormView):
    """A form about one person of the manager's own centre, whom it goes back to."""

    permission = Permission.PEOPLE_MANAGE
    section = "people"

    @cached_property
    def shown(self) -> Person:
        return get_object_or_404(Person.objects.visible_to(self.person), pk=self.kwargs["pk"])

    @property
    def intro(self) -> str:
        return self.shown.name

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def get_success_url(self) -> str:
        return reverse("person-detail", args=[self.shown.pk])


class RoleGrant(AboutPersonView):
    form_class = RoleForm
    heading = "Grant a role"

    def get_initial(self) -> dict[str, Any]:
        return {"starts_on": self.today}

    def carry_out(self, form: forms.Form) -> Role:
        return people.grant_role(person=self.shown, **form.cleaned_data, by=self.person, at=self.now)


class RoleEnd(AboutPersonView):
    form_class = RoleEndForm
    heading = "End a role"

    @cached_property
    def role(self) -> Role:
        return get_object_or_404(Role.objects.filter(person=self.shown), pk=self.kwargs["role"])

    @property
    def intro(self) -> str:
        return f"{self.shown.name}, {self.role.get_kind_display().lower()}"

    def get_initial(self) -> dict[str, Any]:
        return {"ends_on": max(self.today, self.role.starts_on)}

    def carry_out(self, form: forms.Form) -> Role:
        return people.end_role(role=self.role, on=form.cleaned_data["ends_on"], by=self.person, at=self.now)


class PersonPassword(AboutPersonView):
    form_class = PasswordForm
    heading = "Set a new password"

    def carry_out(self, form: forms.Form) -> Person:
        done = people.set_password(
            person=self.shown, password=form.cleaned_data["password"], by=self.person, at=self.now
        )
        messages.success(self.request, f"{self.shown.name} can sign in with the new password.")
        return done


class PersonErase(AboutPersonView):
    form_class = EraseForm
    template_name = "academy/person-erase.html"
    heading = "Erase a person"

    def carry_out(self, form: forms.Form) -> Person:
        done = people.erase(person=self.shown, by=self.person, at=self.now)
        messages.success(self.request, "The person is erased. Their records stay, without a name.")
        return done

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        back = reverse("person-detail", args=[self.shown.pk])
        return super().get_context_data(**context) | {"back": back}

    def get_success_url(self) -> str:
        return str(reverse_lazy("person-list"))
