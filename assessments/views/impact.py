"""Impact reviews: findings and reviews, one review, one attempt in it, and the documents made of them."""

from functools import cached_property
from time import monotonic
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import Count, F, Q, QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.generic import ListView, View

from academy.access import AccessMixin, request_permissions
from academy.permissions import Permission
from academy.refusals import Refused
from academy.views.verb_form import VerbFormView
from assessments import disclosure, impact_documents
from assessments.impact import closing, marking_again, opening, resolving
from assessments.impact_forms import (
    CloseForm,
    InstrumentByHandForm,
    InstrumentOpenForm,
    OpenForm,
    ResolveForm,
    RigByHandForm,
)
from assessments.models import ImpactItem, ImpactReview
from assessments.models.impact import Effect, Resolution
from assessments.pdf.document import Document, PdfUnavailable, pdf_of
from rigs.models import Calibration, Hold, Instrument, Rig

AT_ONCE = 5.0
"""Seconds for which one press of the button marks attempts; then the page shows how far it is."""


class ImpactList(AccessMixin, ListView):
    """Findings that nobody has opened a review for, and the reviews, open ones first."""

    permission = Permission.IMPACT_READ
    template_name = "assessments/impact-list.html"
    context_object_name = "reviews"
    section = "instruments"
    paginate_by = 20

    def get_queryset(self) -> QuerySet[ImpactReview]:
        waiting = Q(items__resolution="") & ~Q(items__effect__in=("", Effect.UNAFFECTED))
        return (
            ImpactReview.objects.visible_to(self.person)
            .select_related("instrument", "rig")
            .annotate(listed=Count("items"), waiting=Count("items", filter=waiting))
            .order_by(F("closed_at").desc(nulls_first=True), "-number")
        )

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        certificates = Calibration.objects.filter(
            instrument__centre=self.person.centre_id, as_found_in_tolerance=False, impact_review=None
        )
        holds = Hold.objects.open().filter(
            rig__centre=self.person.centre_id, rig__baselines__status="approved", impact_review=None
        )
        return super().get_context_data(
            certificates=certificates.select_related("instrument"),
            holds=holds.select_related("rig").distinct(),
            **context,
        )


class ImpactOpen(VerbFormView):
    """What all ways of opening a review have in common."""

    permission = Permission.IMPACT_OPEN
    section = "instruments"
    heading = "Open an impact review"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=reverse("impact-list"), **context)

    def get_success_url(self) -> str:
        return reverse("impact-detail", args=[self.done.pk])


class ImpactOpenForCertificate(ImpactOpen):
    form_class = InstrumentOpenForm

    @cached_property
    def calibration(self) -> Calibration:
        found = Calibration.objects.filter(instrument__centre=self.centre, as_found_in_tolerance=False)
        return get_object_or_404(
            found.select_related("instrument__centre", "instrument__model"), pk=self.kwargs["calibration"]
        )

    @property
    def intro(self) -> str:
        return (
            f"{self.calibration.instrument.tag}, certificate {self.calibration}: every attempt since it was "
            "last right is marked again, as if the error had been known."
        )

    def carry_out(self, form: InstrumentOpenForm) -> ImpactReview:
        return opening.open_for_certificate(
            calibration=self.calibration, told=form.told, by=self.person, at=self.now
        )


class ImpactOpenForHold(ImpactOpen):
    form_class = OpenForm

    @cached_property
    def hold(self) -> Hold:
        found = Hold.objects.filter(rig__centre=self.centre).select_related("rig__centre")
        return get_object_or_404(found, pk=self.kwargs["hold"])

    @property
    def intro(self) -> str:
        return (
            f"{self.hold.rig}, on hold: {self.hold.reason} Every attempt since it was last steady is marked "
            "again, from its level as all its checks tell it."
        )

    def carry_out(self, form: OpenForm) -> ImpactReview:
        return opening.open_for_hold(hold=self.hold, told=form.told, by=self.person, at=self.now)


class ImpactOpenForRig(ImpactOpen):
    form_class = RigByHandForm

    @cached_property
    def thing(self) -> Rig:
        return get_object_or_404(Rig.objects.filter(centre=self.centre), pk=self.kwargs["rig"])

    @property
    def intro(self) -> str:
        return f"{self.thing.tag}: for what no hold and no certificate tells."

    def carry_out(self, form: RigByHandForm) -> ImpactReview:
        given = form.cleaned_data
        return opening.open_by_hand(
            thing=self.thing,
            finding=given["finding"],
            found_on=given["found_on"],
            told=form.told,
            by=self.person,
            at=self.now,
        )


class ImpactOpenForInstrument(ImpactOpen):
    form_class = InstrumentByHandForm

    @cached_property
    def thing(self) -> Instrument:
        found = Instrument.objects.visible_to(self.person).select_related("centre", "model")
        return get_object_or_404(found, pk=self.kwargs["instrument"])

    @property
    def intro(self) -> str:
        return f"{self.thing.tag}: for what no certificate tells."

    def get_form_kwargs(self) -> dict[str, Any]:
        units = dict.fromkeys(each.unit for each in self.thing.model.ranges.all())
        return super().get_form_kwargs() | {"units": tuple(units)}

    def carry_out(self, form: InstrumentByHandForm) -> ImpactReview:
        given = form.cleaned_data
        return opening.open_by_hand(
            thing=self.thing,
            finding=given["finding"],
            found_on=given["found_on"],
            errors=given["shown"],
            told=form.told,
            by=self.person,
            at=self.now,
        )


class OneReview(AccessMixin, View):
    """A review of the person's centre; any other isn't there."""

    permission = Permission.IMPACT_READ
    section = "instruments"

    @cached_property
    def review(self) -> ImpactReview:
        found = ImpactReview.objects.visible_to(self.person).select_related(
            "centre", "instrument", "rig", "calibration", "opened_by", "closed_by"
        )
        return get_object_or_404(found, pk=self.kwargs["pk"])


class ImpactDetail(OneReview, ListView):
    """One review: the finding, how far it is, and its attempts: those that a person must look at, or all."""

    template_name = "assessments/impact-detail.html"
    context_object_name = "items"
    paginate_by = 50

    @property
    def shows_all(self) -> bool:
        return self.request.GET.get("show") == "all"

    def get_queryset(self) -> QuerySet[ImpactItem]:
        items = self.review.items.all() if self.shows_all else self.review.items.affected()
        return (
            items.select_related(
                "attempt__candidate", "attempt__rig", "attempt__version__task", "suspension", "resolved_by"
            )
            .prefetch_related("outcomes")
            .order_by("resolution", "attempt__submitted_at", "attempt")
        )

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            review=self.review,
            progress=marking_again.progress_of(self.review),
            effects=impact_documents.counts(self.review),
            waiting=self.review.items.waiting().count(),
            points=impact_documents.points_of(self.review),
            shows_all=self.shows_all,
            may_work=bool(
                {Permission.IMPACT_OPEN, Permission.IMPACT_RESOLVE, Permission.IMPACT_CLOSE}
                & request_permissions(self.request)
            ),
            **context,
        )


class ImpactWork(OneReview):
    """Marks attempts again for some seconds, batch by batch, and goes back to the page that says how far."""

    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        until = monotonic() + AT_ONCE
        try:
            while True:
                progress = marking_again.work_through(review=self.review, by=self.person, at=self.now)
                if progress.is_done or monotonic() > until:
                    break
        except Refused as refusal:
            messages.error(request, str(refusal))
        else:
            if progress.is_done:
                messages.success(request, f"All marked again: {progress.listed} in the review.")
        return redirect("impact-detail", self.review.pk)


class ImpactClose(OneReview, VerbFormView):
    permission = Permission.IMPACT_CLOSE
    form_class = CloseForm
    heading = "Close the impact review"

    @property
    def intro(self) -> str:
        return f"Number {self.review.number}, {self.review.tag}."

    def carry_out(self, form: forms.Form) -> ImpactReview:
        closed = closing.close(review=self.review, **form.cleaned_data, by=self.person, at=self.now)
        messages.success(self.request, "The review is closed.")
        return closed

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(back=self.get_success_url(), **context)

    def get_success_url(self) -> str:
        return reverse("impact-detail", args=[self.review.pk])


class OneItem(AccessMixin, View):
    """An attempt in a review of the person's centre."""

    permission = Permission.IMPACT_READ
    section = "instruments"

    @cached_property
    def item(self) -> ImpactItem:
        found = ImpactItem.objects.visible_to(self.person).exclude(effect="")
        return get_object_or_404(
            found.select_related(
                "review__centre",
                "review__instrument",
                "review__rig",
                "attempt__candidate",
                "attempt__rig",
                "attempt__version__task",
                "outcome",
                "sign_off__assessor",
                "suspension__superseded_by__attempt",
                "resolved_by",
            ),
            pk=self.kwargs["pk"],
        )


class ImpactItemDetail(OneItem, VerbFormView):
    """What one attempt's marking would be under each model, beside the decision; an assessor resolves it."""

    template_name = "assessments/impact-item.html"
    form_class = ResolveForm

    @property
    def may_resolve(self) -> bool:
        item = self.item
        return (
            Permission.IMPACT_RESOLVE in request_permissions(self.request)
            and item.effect != Effect.UNAFFECTED
            and not item.resolution
            and item.review.closed_at is None
            and item.attempt.candidate_id != self.person.pk
        )

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if self.item.attempt.sheet_id:
            disclosure.note_seen(person=self.person, rig=self.item.attempt.rig, at=self.now)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if Permission.IMPACT_RESOLVE not in request_permissions(request):
            raise PermissionDenied
        return super().post(request, *args, **kwargs)

    def carry_out(self, form: forms.Form) -> ImpactItem:
        given = form.cleaned_data
        return resolving.resolve(
            item=self.item,
            resolution=Resolution(given["resolution"]),
            reason=given["reason"],
            by=self.person,
            at=self.now,
        )

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        if not self.may_resolve:
            # Without a form on the page, what was refused is said at its head.
            for error in form.non_field_errors():
                messages.error(self.request, str(error))
        return super().form_invalid(form)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        item = self.item
        return super().get_context_data(
            item=item,
            review=item.review,
            outcomes=item.outcomes.all(),
            suspension=item.suspended,
            may_resolve=self.may_resolve,
            **context,
        )

    def get_success_url(self) -> str:
        following = self.item.review.items.waiting().first()
        if following is None:
            return reverse("impact-detail", args=[self.item.review_id])
        return reverse("impact-item", args=[following.pk])


def _pdf(request: HttpRequest, document: Document, *, name: str, back: str) -> HttpResponse:
    try:
        content = pdf_of(document)
    except PdfUnavailable as error:
        messages.error(request, str(error))
        return redirect(back)
    headers = {"Content-Disposition": f'inline; filename="{name}.pdf"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


class ImpactPrint(OneReview):
    """The review as a document for the centre's file."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        document = impact_documents.of_review(self.review, by=self.person, at=self.now)
        back = reverse("impact-detail", args=[self.review.pk])
        return _pdf(request, document, name=f"impact-review-{self.review.number}", back=back)


class ImpactLetter(OneItem):
    """A letter to one candidate, in plain words and without a figure of any rig."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if self.item.effect == Effect.UNAFFECTED:
            messages.error(request, "This result isn’t affected, so there is nothing to write about.")
            return redirect("impact-item", self.item.pk)
        document = impact_documents.letter(self.item, by=self.person, at=self.now)
        back = reverse("impact-item", args=[self.item.pk])
        return _pdf(request, document, name=f"impact-letter-{self.item.pk}", back=back)
