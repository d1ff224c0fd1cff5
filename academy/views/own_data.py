"""What is kept about whoever asks, to take away."""

from tempfile import SpooledTemporaryFile
from typing import Any

from django.http import FileResponse, HttpRequest
from django.views.generic import TemplateView, View

from academy import own_data, retention
from academy.access import AccessMixin
from academy.permissions import Permission

IN_MEMORY = 1024 * 1024
"""Bytes of an archive that are kept in memory: the rest is on disk until it is sent."""


class OwnData(AccessMixin, TemplateView):
    permission = Permission.SIGNED_IN
    template_name = "academy/own-data.html"

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(periods=retention.periods(centre=self.centre), **context)


class OwnDataTake(AccessMixin, View):
    """Made while the person waits, and kept nowhere: another copy would be one more thing to dispose of."""

    permission = Permission.SIGNED_IN
    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> FileResponse:
        out = SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 (the response closes it)
        try:
            own_data.write(out, person=self.person, at=self.now)
            own_data.note_taken(person=self.person, at=self.now)
        except BaseException:
            out.close()
            raise
        out.seek(0)
        return FileResponse(
            out,
            as_attachment=True,
            filename=f"your-data-{self.today:%Y-%m-%d}.zip",
            content_type="application/zip",
        )
