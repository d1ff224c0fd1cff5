"""Working through an attempt: one step a screen, the whole list, and handing in."""

from typing import Any
from uuid import uuid4

from django import forms
from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import DetailView, TemplateView, View

from academy.access import AccessMixin, request_permissions
from academy.permissions import Permission
from academy.refusals import Refused
from academy.views.verb_form import VerbFormView
from assessments import attempts, evidence, help_calls, returns, stops, typed_in
from assessments.evidence import Sent
from assessments.forms import FORMS, ReadingForm, StepForm, TakeBackForm
from assessments.measured import Measured, measured
from assessments.models import Attempt, AttemptReturn, AttemptVoid, HelpCall, Photo, Reading, Step, StepRecord
from assessments.models.attempts import AT_WORK, AttemptStatus
from assessments.models.tasks import StepKind
from rigs.metrology.quantities import UNITS, Quantity

TEMPLATES = {Reading: "reading", StepRecord: "record", Photo: "photo"}


class OwnAttempt(AccessMixin, View):
    """A candidate's own attempt; anybody else's isn't there."""

    permission = Permission.ATTEMPT_WORK
    section = "bench"

    @cached_property
    def attempt(self) -> Attempt:
        mine = Attempt.objects.of(self.person).select_related("rig", "version__task", "transcribed_by")
        return get_object_or_404(mine, pk=self.kwargs["pk"])

    @cached_property
    def steps(self) -> list[Step]:
        return list(self.attempt.version.steps.select_related("condition", "measurand"))

    @cached_property
    def standing(self) -> dict[int, Reading | StepRecord | Photo]:
        return evidence.standing(self.attempt)

    @cached_property
    def returned(self) -> AttemptReturn | None:
        """Why the attempt is with its candidate again, if it is."""
        return returns.open_return(self.attempt)

    @cached_property
    def asked_for(self) -> list[Step]:
        """The steps of a returned attempt that are to be logged once more, and weren't yet."""
        return returns.still_to_log(self.attempt, at=self.now) if self.returned else []

    def takes_entry(self, step: Step) -> bool:
        """Whether something can be logged on a step now."""
        if self.returned is not None:
            return step in self.returned.steps.all()
        return self.attempt.status == AttemptStatus.OPEN

    @cached_property
    def stopped(self) -> str:
        """What a candidate is told while everything is stopped."""
        stop = stops.standing(centre=self.centre)
        return stops.words_for(stop) if stop else ""

    @cached_property
    def call(self) -> HelpCall | None:
        """The candidate's call for the assessor, while nobody has come."""
        return help_calls.open_call(attempt=self.attempt)


class AttemptStep(OwnAttempt, VerbFormView):
    """One step: what to do, and its entry. One that stands is shown, and can be corrected with a reason."""

    template_name = "assessments/attempt-step.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.closed:
            return redirect("attempt-overview", self.attempt.pk)
        if self.step.kind == StepKind.MEASUREMENTS:
            return redirect("attempt-measure", self.attempt.pk, self.step.position)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.closed:
            messages.error(request, evidence.CLOSED)
            return redirect("attempt-overview", self.attempt.pk)
        if self.step.kind == StepKind.MEASUREMENTS:
            return redirect("attempt-measure", self.attempt.pk, self.step.position)
        return super().post(request, *args, **kwargs)

    @property
    def closed(self) -> bool:
        """Handed in, or returned for other steps: the list is all there is to see."""
        return not self.takes_entry(self.step)

    @cached_property
    def step(self) -> Step:
        position = self.kwargs["position"]
        try:
            return next(step for step in self.steps if step.position == position)
        except StopIteration:
            raise Http404 from None

    @property
    def entry(self) -> Reading | StepRecord | Photo | None:
        return self.standing.get(self.step.pk)

    @property
    def correcting(self) -> bool:
        """Whether an entry stands that nobody has asked to have once more: striking it out needs a reason."""
        return self.entry is not None and self.step not in self.asked_for

    def get_form_class(self) -> type[StepForm]:
        return FORMS[self.step.kind]

    def get_form_kwargs(self) -> dict[str, Any]:
        sent_again = self.entry is not None and str(self.entry.pk) == self.request.POST.get("id")
        return super().get_form_kwargs() | {
            "step": self.step,
            "correcting": self.correcting and not sent_again,
        }

    def get_initial(self) -> dict[str, Any]:
        units: dict[str, str] = self.request.session.get("units", {})
        unit = units.get(self.step.quantity) or (
            UNITS[Quantity(self.step.quantity)][0] if self.step.quantity else ""
        )
        return {"id": uuid4(), "unit": unit}

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        place = self.steps.index(self.step)
        after = self.steps[place + 1] if place + 1 < len(self.steps) else None
        return super().get_context_data(
            attempt=self.attempt,
            step=self.step,
            number=place + 1,
            count=len(self.steps),
            entry=self.entry,
            asked_again=self.step in self.asked_for,
            returned=self.returned,
            entry_kind=TEMPLATES[type(self.entry)] if self.entry else "",
            instrument=self._instrument(),
            before=self.steps[place - 1] if place else None,
            after=after,
            take_back=self._take_back(),
            **context,
        )

    def _instrument(self) -> str:
        taken = self.attempt.instruments.filter(kind=self.step.instrument_kind).select_related("instrument")
        return ", ".join(each.instrument.tag for each in taken)

    def _take_back(self) -> TakeBackForm | None:
        if self.step.kind == StepKind.ACTION and self.entry is not None:
            return TakeBackForm(initial={"id": uuid4()})
        return None

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        """Show the form again under a fresh id, asking for a reason if an entry stands by now."""
        if self.step.kind == StepKind.ACTION and self.entry is not None:
            # There is nothing in it that could be corrected: it stands, whichever tab sent it.
            messages.info(self.request, f"“{self.step.title}” was logged already.")
            return redirect(self.get_success_url())
        data = self.request.POST.copy()
        data["id"] = str(uuid4())
        again = {"data": data, "files": self.request.FILES, "correcting": self.correcting}
        shown = self.get_form_class()(**self.get_form_kwargs() | again)
        for field, errors in form.errors.items():
            if field not in shown.errors:
                shown.add_error(field if field in shown.fields else None, errors)
        return super().form_invalid(shown)

    def carry_out(self, form: forms.Form) -> object:
        given = form.cleaned_data
        if self.step.kind == StepKind.READING:
            self._remember_unit(form)
        return typed_in.log(
            form,
            attempt=self.attempt,
            step=self.step,
            sent=Sent(id=given["id"], reason=given.get("reason", "")),
            candidate=self.person,
            at=self.now,
        )

    def _remember_unit(self, form: forms.Form) -> None:
        if isinstance(form, ReadingForm) and form.cleaned_data.get("unit"):
            units = self.request.session.setdefault("units", {})
            units[self.step.quantity] = form.cleaned_data["unit"]
            self.request.session.modified = True

    def get_success_url(self) -> str:
        """The next step that has no entry yet; the list when there is none."""
        if self.returned is not None:
            self.__dict__.pop("asked_for", None)
            return self._next_asked_for()
        later = [
            step for step in self.steps if step.position > self.step.position and step.pk not in self.standing
        ]
        if later:
            return reverse("attempt-step", args=[self.attempt.pk, later[0].position])
        return reverse("attempt-overview", args=[self.attempt.pk])

    def _next_asked_for(self) -> str:
        if self.asked_for:
            return reverse("attempt-step", args=[self.attempt.pk, self.asked_for[0].position])
        return reverse("attempt-overview", args=[self.attempt.pk])


class StepTakeBack(OwnAttempt):
    """Strike out a step that was logged by mistake."""

    http_method_names = ("post",)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        step = get_object_or_404(self.attempt.version.steps, position=self.kwargs["position"])
        form = TakeBackForm(request.POST)
        if form.is_valid():
            sent = Sent(id=form.cleaned_data["id"], reason=form.cleaned_data["reason"])
            try:
                evidence.log_step(
                    attempt=self.attempt, step=step, sent=sent, candidate=self.person, at=self.now, done=False
                )
            except Refused as refusal:
                messages.error(request, refusal.message)
        else:
            messages.error(request, "Say why it is taken back.")
        return redirect("attempt-step", self.attempt.pk, step.position)


class AttemptOverview(OwnAttempt, TemplateView):
    """Every step with what was logged, what is missing, and handing in."""

    template_name = "assessments/attempt-overview.html"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        rows = [
            {
                "step": step,
                "entry": self.standing.get(step.pk),
                "kind": self._kind(step),
                "takes_entry": self.takes_entry(step),
            }
            for step in self.steps
        ]
        return super().get_context_data(
            attempt=self.attempt,
            rows=rows,
            missing=self._missing(rows),
            is_open=self.attempt.status in AT_WORK,
            returned=self.returned,
            void=AttemptVoid.objects.filter(attempt=self.attempt).first(),
            struck_out=self._struck_out(),
            measured=self._measured(),
            **context,
        )

    def _missing(self, rows: list[dict[str, Any]]) -> list[Step]:
        if self.returned is not None:
            return self.asked_for
        return [row["step"] for row in rows if row["entry"] is None and row["step"].required]

    def _kind(self, step: Step) -> str:
        entry = self.standing.get(step.pk)
        if entry is not None and step.kind == StepKind.MEASUREMENTS:
            return "measured"
        return TEMPLATES[type(entry)] if entry else ""

    def _struck_out(self) -> list[Reading]:
        superseded = self.attempt.readings.filter(superseded_by__isnull=False, test_point=None)
        return list(superseded.select_related("step", "superseded_by"))

    def _measured(self) -> list[Measured]:
        """Readings of the candidate's own choice, in a task that has such a step."""
        if not any(step.kind == StepKind.MEASUREMENTS for step in self.steps):
            return []
        found = self.attempt.readings.in_order().filter(test_point__isnull=False)
        return list(measured(found.select_related("test_point", "condition", "instrument__instrument")))


class AttemptHandIn(OwnAttempt):
    http_method_names = ("post",)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            attempts.hand_in(attempt=self.attempt, candidate=self.person, at=self.now)
        except Refused as refusal:
            messages.error(request, refusal.message)
        else:
            messages.success(request, "Handed in. Your assessor will look at it.")
        return redirect("attempt-overview", self.attempt.pk)


class PhotoFile(AccessMixin, DetailView):
    """A photo's picture: to its candidate, and to those of the centre who read attempts."""

    permission = Permission.SIGNED_IN

    def get_queryset(self) -> Any:
        photos = Photo.objects.exclude(file="")  # that of one that was disposed of is gone
        if Permission.ATTEMPT_READ in request_permissions(self.request):
            return photos.filter(attempt__candidate__centre=self.centre)
        return photos.filter(attempt__candidate=self.person)

    def render_to_response(self, context: dict[str, Any], **options: Any) -> HttpResponseBase:
        return FileResponse(self.object.file.open("rb"), content_type="image/jpeg")
