"""Checking a copy of a document: open to whoever has its address, which the document itself shows."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.template.response import TemplateResponse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.utils.decorators import method_decorator
from django.utils.functional import cached_property
from django.views.decorators.csrf import csrf_exempt
from django.views.generic import FormView

from academy.access import AccessMixin
from academy.permissions import Permission
from assessments import document_checks
from assessments.document_checks import MOST_BYTES, CopyRefused
from assessments.document_forms import CopyForm
from assessments.models import PortfolioDocument

WRAPPING = 64 * 1024
"""What a form adds to the file that it sends, at the most."""


# Nothing is changed by sending a copy, so a forged request gains nothing. And the guard against those reads
# the whole of a request before anybody has looked at its size.
@method_decorator(csrf_exempt, name="dispatch")
class DocumentCheck(AccessMixin, FormView):
    permission = Permission.PUBLIC
    template_name = "assessments/document-check.html"
    form_class = CopyForm

    @cached_property
    def document(self) -> PortfolioDocument:
        found: QuerySet[PortfolioDocument] = PortfolioDocument.objects.select_related("candidate__centre")
        return get_object_or_404(found, pk=self.kwargs["pk"])

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if int(request.META.get("CONTENT_LENGTH") or 0) > MOST_BYTES + WRAPPING:
            context = self.get_context_data(form=CopyForm(), refusal=document_checks.too_big())
            return self.render_to_response(context, status=413)
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: forms.Form) -> HttpResponse:
        content = form.cleaned_data["file"].read(MOST_BYTES + 1)
        try:
            compared = document_checks.compare(document=self.document, content=content)
        except CopyRefused as refusal:
            form.add_error("file", str(refusal))
            return self.form_invalid(form)
        return self.render_to_response(self.get_context_data(form=CopyForm(), compared=compared))

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            **{"compared": None, "refusal": ""}
            | context
            | {
                "document": self.document,
                "centre": self.document.candidate.centre,
                "status": document_checks.status(document=self.document),
            }
        )

    def render_to_response(self, context: dict[str, Any], **options: Any) -> HttpResponse:
        response = TemplateResponse(self.request, self.template_name, context, **options)
        with timezone.override(context["centre"].zone):
            response.render()
        add_never_cache_headers(response)
        response.headers["X-Robots-Tag"] = "noindex"
        return response
