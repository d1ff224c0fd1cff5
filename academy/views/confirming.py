"""Pages that sign something: the person's password is asked for once a sitting, and nothing typed is lost."""

import copy
from datetime import datetime
from typing import Any

from axes.helpers import get_client_ip_address
from axes.utils import reset
from django import forms
from django.contrib.auth import authenticate
from django.http import HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.template.response import TemplateResponse

from academy.confirmations import Unconfirmed
from academy.forms import ConfirmForm
from academy.models import Person
from academy.refusals import Refused
from academy.views.signing_in import minutes_locked
from academy.views.verb_form import VerbFormView

KEPT_AS = "confirmed_at"
PASSWORD, BACK = "confirm-password", "confirm-back"
NOT_CARRIED = frozenset({"csrfmiddlewaretoken", PASSWORD, BACK})


class ConfirmedFormView(VerbFormView):
    """Its verb is told `confirmed_at`: when this sitting's password, or last signature, was given.

    Where that is all that its verb misses, the form is carried through a page that asks for the password.
    """

    @property
    def confirmed_at(self) -> datetime | None:
        kept = self.request.session.get(KEPT_AS)
        return None if kept is None else datetime.fromisoformat(kept)

    @property
    def to_confirm(self) -> str:
        """What is about to be signed, in a few words."""
        return ""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if BACK in request.POST:
            return self.render_to_response(self.get_context_data(form=self.get_form()))
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: forms.Form) -> HttpResponse:
        if PASSWORD in self.request.POST:
            if (wrong := self._wrong_password()) is not None:
                return wrong
            self._confirmed()
        response = super().form_valid(form)
        if self.done is not None:
            self._confirmed()
        return response

    def refused(self, form: forms.Form, refusal: Refused) -> HttpResponse:
        if isinstance(refusal, Unconfirmed):
            return self._ask(ConfirmForm(prefix="confirm"))
        return super().refused(form, refusal)

    def _confirmed(self) -> None:
        self.request.session[KEPT_AS] = self.now.isoformat()

    def _wrong_password(self) -> HttpResponse | None:
        """The page again if the password isn't theirs, counted as a failure to sign in; None if it is."""
        given = ConfirmForm(self.request.POST, prefix="confirm")
        if not given.is_valid():
            return self._ask(given)
        known, wait = self._authenticate(given.cleaned_data["password"])
        if wait:
            minutes = "a minute" if wait == 1 else f"{wait} minutes"
            given.add_error("password", f"Too many wrong passwords. Try again in {minutes}.")
            return self._ask(given, status=429)
        if known is None or known.pk != self.person.pk:
            given.add_error("password", "That isn’t your password.")
            return self._ask(given)
        return None

    def _authenticate(self, password: str) -> tuple[Person | None, int]:
        """Who has that password, and for how many minutes no more are taken.

        The lock-out keeps what a failed request posted: it is shown one without what was typed.
        """
        bare = copy.copy(self.request)
        bare.POST = QueryDict()
        email = self.person.email
        known = authenticate(bare, username=email, password=password)
        if known is not None:
            reset(ip=get_client_ip_address(bare), username=email)
            return known, 0
        if getattr(bare, "axes_locked_out", False):
            return None, minutes_locked(bare, {"username": email})
        return None, 0

    def _ask(self, form: ConfirmForm, *, status: int = 200) -> HttpResponse:
        carried = [
            (name, value)
            for name, values in self.request.POST.lists()
            for value in values
            if name not in NOT_CARRIED
        ]
        context = {"form": form, "carried": carried, "to_confirm": self.to_confirm, "back_name": BACK}
        context["section"] = getattr(self, "section", "")
        return TemplateResponse(self.request, "academy/confirm.html", context, status=status)
