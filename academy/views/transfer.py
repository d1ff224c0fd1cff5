"""Bringing rows in from a file, and writing them out: what is alike whatever the rows are of."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.generic import FormView, View

from academy.access import AccessMixin
from academy.transfer import runs
from academy.transfer.downloads import download
from academy.transfer.kinds import Kind
from academy.transfer.runs import Report
from academy.transfer.tables import FileRefused, Value
from academy.transfer_forms import RowsCarriedForm, RowsFileForm, sealed


class RowsImport(AccessMixin, FormView):
    """A file is looked at first; the page that says what would come of it brings it in."""

    template_name = "academy/rows-import.html"
    form_class = RowsFileForm
    kind: Kind
    page = ""
    exports = ""

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            **{"kind": self.kind, "back": reverse(self.page), "exports": self.exports} | context
        )

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return self.bring_in() if "carried" in request.POST else super().post(request, *args, **kwargs)

    def form_valid(self, form: RowsFileForm) -> HttpResponse:
        """Look at the file, without bringing anything in."""
        content = form.cleaned_data["file"].read()
        try:
            report = self._run(content, is_trial=True)
        except FileRefused as refusal:
            form.add_error("file", str(refusal))
            return self.form_invalid(form)
        return self._show(report, content=content)

    def bring_in(self) -> HttpResponse:
        carried = RowsCarriedForm(self.request.POST, person=self.person, kind=self.kind.slug)
        if not carried.is_valid():
            messages.error(self.request, " ".join(map(str, carried.errors["carried"])))
            return redirect(self.request.path)
        content = carried.cleaned_data["carried"]
        report = self._run(content, leave_broken=carried.cleaned_data["leave_broken"])
        if not report.is_done:
            return self._show(report, content=content, is_refused=True)
        left = f" Left: {len(report.broken)}." if report.broken else ""
        known = f" There already: {report.known}." if report.known else ""
        rows = "1 row is" if report.new == 1 else f"{report.new} rows are"
        messages.success(self.request, f"{rows} brought in.{known}{left}")
        return redirect(self.page)

    def _run(self, content: bytes, **how: bool) -> Report:
        return runs.bring_in(content, kind=self.kind, centre=self.centre, by=self.person, at=self.now, **how)

    def _show(self, report: Report, *, content: bytes, is_refused: bool = False) -> HttpResponse:
        form = RowsCarriedForm(
            initial={"carried": sealed(content, person=self.person, kind=self.kind.slug)},
            person=self.person,
            kind=self.kind.slug,
            broken=len(report.broken),
            new=report.new,
        )
        return self.render_to_response(
            self.get_context_data(carried=form, report=report, is_refused=is_refused)
        )


class RowsExport(AccessMixin, View):
    """The same columns that are brought in, as CSV, or with ?as=xlsx as a workbook."""

    kind: Kind

    def rows(self) -> Iterable[Sequence[Value]]:
        raise NotImplementedError

    def get(self, request: HttpRequest) -> HttpResponse:
        made = download(self.rows(), kind=self.kind, wanted=request.GET.get("as", ""))
        headers = {"Content-Disposition": f'attachment; filename="{self.kind.slug}.{made.ending}"'}
        return HttpResponse(made.content, content_type=made.content_type, headers=headers)
