"""Inviting people, and the links by which they come in: made by a manager, or asked for by themselves."""

import logging
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from smtplib import SMTPException
from threading import BoundedSemaphore
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.db import connections
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse, reverse_lazy
from django.utils.functional import cached_property
from django.views.generic import TemplateView, View

from academy import invitations, links
from academy.access import AccessMixin
from academy.forms import InviteForm, LinkUseForm, PasswordForgottenForm
from academy.links import Issued
from academy.models import AccessLink, Person
from academy.permissions import Permission
from academy.refusals import Refused
from academy.views.people import PersonCreate
from academy.views.verb_form import VerbFormView

log = logging.getLogger(__name__)

# Whether there is such an address mustn't show in how long the answer takes: all of it happens afterwards.
AFTERWARDS = ThreadPoolExecutor(max_workers=1, thread_name_prefix="links")
WAITING = BoundedSemaphore(100)


class Handing:
    """Sends links by email, or shows them once where there is no mail server, or it didn't take them."""

    request: HttpRequest

    def hand_over(self, made: Sequence[Issued], *, back: str) -> HttpResponse:
        unsent = list(made)
        if settings.EMAIL_HOST:
            unsent = [issued for issued in made if not _is_sent(issued)]
        if sent := len(made) - len(unsent):
            messages.success(self.request, f"{sent} link{'' if sent == 1 else 's'} sent by email.")
        if not unsent:
            return redirect(back)
        context = {
            "issued": [(one.link, invitations.address_of(one)) for one in unsent],
            "back": back,
            "has_failed": bool(settings.EMAIL_HOST),
            "section": "people",
        }
        return render(self.request, "academy/link-issued.html", context)


class PersonInvite(Handing, PersonCreate):
    form_class = InviteForm
    heading = "Invite a person"

    @property
    def intro(self) -> str:
        if settings.EMAIL_HOST:
            return "They get an email with a link that is good for 7 days, and set their own password."
        return "You get a link to hand over, good for 7 days, with which they set their own password."

    def carry_out(self, form: forms.Form) -> Issued:
        return invitations.invite(**self.newcomer(form))

    def get_success_url(self) -> str:
        return reverse("person-detail", args=[self.done.link.person_id])

    def form_valid(self, form: forms.Form) -> HttpResponse:
        response = super().form_valid(form)
        return response if self.done is None else self.hand_over([self.done], back=self.get_success_url())


class PersonLink(Handing, AccessMixin, View):
    """A fresh link for one person: invited again, or to set a new password."""

    permission = Permission.PEOPLE_MANAGE
    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        people = Person.objects.visible_to(self.person).select_related("centre")
        person = get_object_or_404(people, pk=kwargs["pk"])
        back = reverse("person-detail", args=[person.pk])
        try:
            issued = invitations.give_link(person=person, by=self.person, at=self.now)
        except Refused as refusal:
            messages.error(request, refusal.message)
            return redirect(back)
        return self.hand_over([issued], back=back)


class LinkWithdraw(AccessMixin, View):
    permission = Permission.PEOPLE_MANAGE
    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        visible = AccessLink.objects.visible_to(self.person).select_related("person__centre")
        link = get_object_or_404(visible, pk=kwargs["pk"])
        try:
            invitations.withdraw(link=link, by=self.person, at=self.now)
        except Refused as refusal:
            messages.error(request, refusal.message)
        else:
            messages.success(request, "The link is withdrawn: it lets nobody in any more.")
        return redirect("invitation-list")


class InvitationList(Handing, AccessMixin, TemplateView):
    """Who was asked in and hasn't come yet, and who wasn't asked."""

    permission = Permission.PEOPLE_MANAGE
    template_name = "academy/invitation-list.html"
    section = "people"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        links_open = AccessLink.objects.visible_to(self.person).open(at=self.now)
        waiting = invitations.not_invited(centre=self.centre, at=self.now)
        return super().get_context_data(
            links=links_open.select_related("person", "made_by"),
            waiting=waiting,
            most=invitations.MOST_AT_ONCE,
            by_mail=bool(settings.EMAIL_HOST),
            **context,
        )

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        made = invitations.invite_waiting(centre=self.centre, by=self.person, at=self.now)
        if not made:
            messages.info(request, "Everybody is invited already.")
        return self.hand_over(made, back=reverse("invitation-list"))


class LinkUse(VerbFormView):
    """Where a link leads. Looking at the page doesn't use the link up; setting a password does."""

    permission = Permission.PUBLIC
    form_class = LinkUseForm
    success_url = reverse_lazy("sign-in")
    heading = "Set your password"

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.link is None:
            return render(request, "academy/link-over.html", status=404)
        return super().dispatch(request, *args, **kwargs)

    @cached_property
    def link(self) -> AccessLink | None:
        return links.found(token=self.kwargs["token"], at=self.now)

    @property
    def intro(self) -> str:
        person = self.link.person
        return f"For {person.email} at {person.centre}. You sign in with that address afterwards."

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"asks_name": invitations.is_nameless(self.link.person)}

    def carry_out(self, form: forms.Form) -> Person:
        given = form.cleaned_data
        person = invitations.accept(
            token=self.kwargs["token"], name=given.get("name", ""), password=given["password"], at=self.now
        )
        messages.success(self.request, "Your password is set. Sign in with it now.")
        return person


class PasswordForgotten(VerbFormView):
    """The same answer whoever asks, and as quickly: it tells nobody which addresses are known."""

    permission = Permission.PUBLIC
    form_class = PasswordForgottenForm
    success_url = reverse_lazy("sign-in")
    template_name = "academy/password-forgotten.html"
    heading = "Forgotten password"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(by_mail=bool(settings.EMAIL_HOST), **context)

    def carry_out(self, form: forms.Form) -> None:
        if not settings.EMAIL_HOST:
            raise Refused("This site sends no email: ask your centre’s manager for a link.", field="email")
        # Somebody who floods the page fills no memory: what comes on top is dropped.
        if WAITING.acquire(blocking=False):
            AFTERWARDS.submit(answer, email=form.cleaned_data["email"], at=self.now)
        messages.success(
            self.request,
            "If somebody here has that address, a link is on its way to it. It is good for a day.",
        )


def answer(*, email: str, at: datetime) -> None:
    """Send the link in a thread of its own, which lets go of the database."""
    try:
        invitations.answer(email=email, at=at)
    except Exception:
        log.exception("A link for a new password couldn’t be made")
    finally:
        WAITING.release()
        connections.close_all()


def _is_sent(issued: Issued) -> bool:
    try:
        invitations.send(issued)
    except (OSError, SMTPException):
        log.exception("A link couldn’t be sent")
        return False
    return True
