from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.generic import View

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.transfer.downloads import download
from assessments import disclosure
from rigs.models import Rig
from rigs.transfer import of_checks


class ChecksExport(AccessMixin, View):
    """One rig's checks with all their readings: whoever takes them has seen what it reads."""

    permission = Permission.RIG_READ

    def get(self, request: HttpRequest, rig: UUID) -> HttpResponse:
        found = get_object_or_404(Rig.objects.visible_to(self.person).select_related("centre"), pk=rig)
        if found.checks.exists():
            disclosure.note_seen(person=self.person, rig=found, at=self.now)
        rows = of_checks.written(found)
        made = download(rows, kind=of_checks.CHECKS, wanted=request.GET.get("as", ""))
        headers = {"Content-Disposition": f'attachment; filename="checks-{found.pk}.{made.ending}"'}
        return HttpResponse(made.content, content_type=made.content_type, headers=headers)
