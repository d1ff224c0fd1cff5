"""What a device asks of the site so that it can go on without it."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.utils.decorators import method_decorator
from django.views.decorators.gzip import gzip_page
from django.views.generic import TemplateView, View

from academy.access import AccessMixin
from academy.permissions import Permission
from assessments.sync import applying, packs, shell
from assessments.sync.entries import UnreadableBatch, read_batch
from assessments.views.steps import OwnAttempt


class BenchSync(AccessMixin, View):
    """Takes in what a device kept while there was no network, and says who would be sending it."""

    permission = Permission.ATTEMPT_WORK

    def get(self, request: HttpRequest) -> HttpResponse:
        return JsonResponse({"person": str(self.person.pk), "token": get_token(request)})

    def post(self, request: HttpRequest) -> HttpResponse:
        try:
            batch = read_batch(request.POST.get("batch", ""))
        except UnreadableBatch as error:
            return JsonResponse({"code": "unreadable", "words": str(error)}, status=400)
        if batch.owner != self.person.pk:
            return JsonResponse({"code": "someone-else"}, status=403)
        files: Mapping[str, Any] = request.FILES
        photos = {UUID(name): files[name] for name in files if _is_id(name)}
        answers = applying.take_in(batch=batch, photos=photos, person=self.person, at=self.now)
        return JsonResponse({"entries": [answer.data for answer in answers]})


def _is_id(name: str) -> bool:
    try:
        UUID(name)
    except ValueError:
        return False
    return True


# Nothing in it is secret or comes from the request, so that compressing it tells nothing either.
@method_decorator(gzip_page, name="dispatch")
class AttemptPack(OwnAttempt):
    """What a device needs to go on with an attempt by itself; without what it says that it has."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return JsonResponse(packs.of_attempt(self.attempt, has=request.GET.get("has", ""), at=self.now))


class BenchOffline(AccessMixin, TemplateView):
    """The page that a device keeps: the same for everybody, whoever is signed in. It fills itself."""

    permission = Permission.PUBLIC
    template_name = "assessments/bench-offline.html"


class ServiceWorker(AccessMixin, View):
    """The script that answers for the site while the network is away. At the root, so that it may do so."""

    permission = Permission.PUBLIC

    def get(self, request: HttpRequest) -> HttpResponse:
        script = shell.worker()
        return HttpResponse(
            script, content_type="text/javascript; charset=utf-8", headers={"Cache-Control": "no-cache"}
        )
