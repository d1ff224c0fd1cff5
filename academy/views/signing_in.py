import math
from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from axes.helpers import get_client_ip_address
from axes.models import AccessAttempt
from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.views import LoginView, LogoutView
from django.db.models import Max
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse_lazy
from django.utils import timezone

from academy import people
from academy.access import AccessMixin
from academy.backends import email_tried
from academy.forms import PasswordChangeForm, SignInForm
from academy.models import Person
from academy.permissions import Permission
from academy.refusals import Refused
from academy.views.verb_form import VerbFormView


class SignIn(AccessMixin, LoginView):
    permission = Permission.PUBLIC
    template_name = "academy/sign-in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True


class SignOut(AccessMixin, LogoutView):  # type: ignore[misc]
    permission = Permission.PUBLIC


class PasswordChange(VerbFormView):
    permission = Permission.SIGNED_IN
    form_class = PasswordChangeForm
    success_url = reverse_lazy("home")
    heading = "Change your password"
    intro = "You stay signed in here, and are signed out everywhere else."

    def carry_out(self, form: forms.Form) -> Person:
        if not self.person.check_password(form.cleaned_data["current"]):
            raise Refused("That isn’t your current password.", field="current")
        person = people.set_password(
            person=self.person, password=form.cleaned_data["password"], by=self.person, at=self.now
        )
        update_session_auth_hash(self.request, person)
        messages.success(self.request, "Your password is changed.")
        return person


def locked_out(
    request: HttpRequest, _response: HttpResponse | None, credentials: Mapping[str, Any] | None
) -> HttpResponse:
    """Say when to try again, after too many failures under one address from one place."""
    seconds = _seconds_locked(request, credentials)
    context = {"minutes": math.ceil(seconds / 60), "limit": settings.AXES_FAILURE_LIMIT}
    response = render(request, "academy/locked-out.html", context, status=429)
    response["Retry-After"] = str(seconds)
    return response


def minutes_locked(request: HttpRequest, credentials: Mapping[str, Any] | None) -> int:
    """How long until somebody locked out may try again, in minutes begun."""
    return math.ceil(_seconds_locked(request, credentials) / 60)


def _seconds_locked(request: HttpRequest, credentials: Mapping[str, Any] | None) -> int:
    """From the failure that locked: attempts made while locked out don't move it."""
    failures = AccessAttempt.objects.filter(
        username=email_tried(request, credentials), ip_address=get_client_ip_address(request)
    )
    last = failures.aggregate(last=Max("attempt_time"))["last"] or timezone.now()
    wait = max(last + settings.AXES_COOLOFF_TIME - timezone.now(), timedelta(seconds=1))
    return math.ceil(wait.total_seconds())
