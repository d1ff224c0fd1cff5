from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.generic import TemplateView

from academy.access import AccessMixin
from academy.models import Person, Role
from academy.permissions import Permission

# A person with several roles starts where the first of them does.
FIRST_SCREENS = (
    (Role.Kind.CANDIDATE, "bench-home"),
    (Role.Kind.ASSESSOR, "review-list"),
    (Role.Kind.VERIFIER, "today"),
    (Role.Kind.EXTERNAL_VERIFIER, "visit-list"),
    (Role.Kind.TECHNICIAN, "today"),
    (Role.Kind.MANAGER, "today"),
)


class Home(AccessMixin, TemplateView):
    """Sends a person to the first screen of their roles; without a role today, says whom to ask."""

    permission = Permission.SIGNED_IN
    template_name = "academy/home.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        roles = Role.objects.in_force(on=self.today).filter(person=self.person)
        held = set(roles.values_list("kind", flat=True))
        for kind, screen in FIRST_SCREENS:
            if kind in held:
                return redirect(screen)
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        managers = Person.objects.visible_to(self.person).holding(Role.Kind.MANAGER, on=self.today)
        return super().get_context_data(managers=managers, **context)
