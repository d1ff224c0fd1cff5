"""Packs of a visit: asked for by staff, made in the background, fetched by whoever may see the visit."""

from typing import Any

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.generic import View

from academy.access import AccessMixin
from academy.permissions import Permission
from academy.refusals import Refused
from assessments import disclosure, packs, visits
from assessments.models import Pack
from assessments.models.visits import VisitPage
from assessments.views.visits import AboutVisit
from rigs.models import Rig


class PackMake(AboutVisit, View):
    permission = Permission.VISIT_MANAGE
    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            job = packs.ask(visit=self.visit, by=self.person, at=self.now)
        except Refused as refusal:
            messages.error(request, refusal.message)
            return redirect("visit-detail", self.visit.pk)
        return redirect("job-detail", job.pk)


class PackDownload(AccessMixin, View):
    """A pack has the figures of its rigs in it: who fetched it is remembered for each."""

    permission = Permission.VISIT_READ

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> FileResponse:
        readable = packs.packs_visible_to(self.person, at=self.now).exclude(file="")
        pack: Pack = get_object_or_404(readable.select_related("visit__centre"), pk=self.kwargs["pk"])
        try:
            content = pack.file.open("rb")
        except FileNotFoundError:
            raise Http404("The file of this pack is no longer in the store.") from None
        inside = visits.attempts_of(pack.visit).filter(sheet__isnull=False)
        rigs = Rig.objects.filter(pk__in=inside.values("rig"))
        disclosure.note_all_seen(person=self.person, rigs=list(rigs), at=self.now)
        visits.note_look(
            visit=pack.visit, person=self.person, page=VisitPage.PACK, about=pack.pk, at=self.now
        )
        name = f"pack-{pack.made_at:%Y-%m-%d}.zip"
        return FileResponse(content, as_attachment=True, filename=name, content_type="application/zip")
