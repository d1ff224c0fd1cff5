"""What each page costs beside one that does nothing, at one size of the centre and at another.

``manage.py benchmark pages`` runs it, in a process and a database of its own. Who asks is signed in; the page
that does nothing goes through the same middleware and the same question of permission.
"""

import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from unittest.mock import patch
from uuid import uuid4

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.test import Client, override_settings
from django.urls import include, path, reverse
from django.utils import timezone
from django.views.generic import View

from academy.access import AccessMixin
from academy.models import Role
from academy.permissions import Permission
from assessments.models import Reading
from tests.benchmarks.crowd import Crowd
from tests.factories.centres import NOON, BusyCentre, busy_centre
from tests.site.pages import PAGES, Page

STEP_GOAL = 3.0
GROWTH_GOAL = 1.3
ROUNDS = 7
SMALL = 1_000

Tell = Callable[[str], None]


class NoOp(AccessMixin, View):
    permission = Permission.SIGNED_IN

    def get(self, request: HttpRequest) -> HttpResponse:
        return HttpResponse("Nothing done.")


urlpatterns = [path("no-op/", NoOp.as_view(), name="no-op"), path("", include(settings.ROOT_URLCONF))]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """Of a page, in pages that do nothing: with few attempts on record, and with many."""

    label: str
    few: float
    many: float

    @property
    def growth(self) -> float:
        return self.many / self.few

    def __str__(self) -> str:
        over = ", over" if self.growth > GROWTH_GOAL else ""
        return f"{self.label:<48} {self.few:6.1f} {self.many:8.1f}   × {self.growth:.2f}{over}"


def run(*, count: int, tell: Tell) -> None:
    """Measure every page with few attempts and with so many, and the logging of a reading."""
    hosts = ["testserver"]
    with (
        patch.object(timezone, "now", lambda: NOON),
        override_settings(ROOT_URLCONF=__name__, ALLOWED_HOSTS=hosts, SECURE_SSL_REDIRECT=False),
    ):
        centre = busy_centre()
        crowd = Crowd(centre)
        crowd.grow(attempts=min(SMALL, count))
        few = dict(measured(centre))
        small = crowd.attempts
        crowd.grow(attempts=count)
        many = dict(measured(centre))
        step = step_cost(centre)
    tell(f"Each page ÷ a page that does nothing, with {small:,} and with {crowd.attempts:,} attempts:")
    costs = [Cost(label=label, few=few[label], many=many[label]) for label in few]
    for cost in costs:
        tell(str(cost))
    grown = sum(each.growth > GROWTH_GOAL for each in costs)
    tell(f"Growth: goal {GROWTH_GOAL}; {grown} of {len(costs)} pages are over.")
    over = ", over" if step > STEP_GOAL else ""
    tell(f"Logging a reading at the bench: {step:.1f} of a page that does nothing, goal {STEP_GOAL}{over}.")


def measured(centre: BusyCentre) -> Iterator[tuple[str, float]]:
    """Each page that shows something, by the first role that may see it."""
    clients = {kind: signed_in(centre, kind) for kind in Role.Kind}
    for page in PAGES:
        kind = _reader(page)
        if page.shows and page.needs != Permission.PUBLIC and kind is not None:
            yield page.label, cost_of(clients[kind], page.address(centre))


def cost_of(client: Client, address: str) -> float:
    """The median of its times over that of the page that does nothing, asked in turn."""
    return _ratio(lambda: _asked(client, address), lambda: _asked(client, reverse("no-op")))


def step_cost(centre: BusyCentre) -> float:
    """Of logging a reading, each time as a correction of the one before, with all that is stored for it."""
    client = signed_in(centre, Role.Kind.CANDIDATE)
    attempt = centre.things["unfinished"]
    reading = Reading.objects.standing().filter(attempt=attempt, qualifier="value")[0]
    address = reverse("attempt-step", args=[attempt.pk, reading.step.position])
    texts = iter(f"{reading.text}{'0' * n}" for n in range(1, 3 * ROUNDS))

    def log() -> None:
        said = {"id": str(uuid4()), "text": next(texts), "unit": reading.unit, "reason": "Read once more"}
        answer = client.post(address, said)
        if answer.status_code != 302:
            raise ValueError(f"{address} didn’t take the reading: {answer.status_code}.")

    return _ratio(log, lambda: _asked(client, reverse("no-op")))


def _ratio(ours: Callable[[], None], other: Callable[[], None]) -> float:
    ours(), other()  # by now what is kept between requests is known
    both = [(_seconds(ours), _seconds(other)) for _ in range(ROUNDS)]
    mine, others = zip(*both, strict=True)
    return statistics.median(mine) / statistics.median(others)


def _asked(client: Client, address: str) -> None:
    answer = client.get(address)
    if answer.status_code != 200:
        raise ValueError(f"{address} answers {answer.status_code}.")
    if answer.streaming:
        list(answer.streaming_content)


def _seconds(work: Callable[[], None]) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def signed_in(centre: BusyCentre, kind: Role.Kind) -> Client:
    client = Client()
    client.force_login(centre.people[kind])
    return client


def _reader(page: Page) -> Role.Kind | None:
    allowed: Sequence[Role.Kind] = [kind for kind in Role.Kind if page.is_open_to(kind) and kind in page.only]
    return next(iter(allowed), None)
