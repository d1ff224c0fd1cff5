"""What a candidate gets tells nothing of the rig.

Two worlds differ only in the rig's values and the fault set. Every response must be the same bytes once
tokens are masked, with the same headers and as many queries.
"""

import io
import json
import re
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection, reset_queries
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import NoReverseMatch, get_resolver, reverse
from django.utils import timezone

from academy.models import Centre
from assessments import returns
from assessments.models import Attempt, Photo, Step, TaskVersion, Ticket
from assessments.views import log_sheets
from rigs.models import Session
from tests.factories import assessments as made
from tests.factories import fault_finding, rights
from tests.factories.assessments import SWITCH_TEST, picture
from tests.factories.fault_finding import FAULT_FINDING

NOW = made.AT + timedelta(minutes=5)
UUIDS = re.compile(rb"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
DIGESTS = re.compile(rb"\b[0-9a-f]{16,64}\b")
TOKENS = re.compile(rb'name="csrfmiddlewaretoken" value="[^"]+"|"token": "[0-9A-Za-z]{64}"')
NUMBERED = re.compile(rb"((?:Candidate|Assessor|Technician|Manager|Person|Centre|Cohort) |\w+-(?=\d+@))\d+")
HEADERS_OF_CHANCE = {"set-cookie", "content-length", "expires"}


@dataclass(frozen=True)
class Seen:
    """What came back for one request."""

    what: str
    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes
    queries: int


def masked(body: bytes) -> bytes:
    return NUMBERED.sub(rb"\1n", TOKENS.sub(b"token", DIGESTS.sub(b"digest", UUIDS.sub(b"uuid", body))))


def unpacked(archive: bytes) -> bytes:
    """What a ZIP holds, by name: packed, its ids couldn't be masked."""
    with zipfile.ZipFile(io.BytesIO(archive)) as files:
        return b"\n".join(each.filename.encode() + b"\n" + files.read(each) for each in files.infolist())


def world(*, running: float, fault: str) -> made.Bench:
    """A bench whose rig gives nothing away, with the task of finding faults issued as well."""
    bench = fault_finding.with_task(made.ready_bench(running=running))
    if fault:
        fault_finding.set_fault(bench, fault, at=NOW)
    return bench


class Candidate:
    """A candidate's device that keeps what it was sent."""

    def __init__(self, bench: made.Bench) -> None:
        self.client = Client()
        self.client.force_login(bench.candidate)
        self.seen: list[Seen] = []

    def get(self, address: str, **data: object) -> None:
        self._keep(f"GET {masked(address.encode()).decode()}", lambda: self.client.get(address, data))

    def post(self, address: str, **data: object) -> None:
        self._keep(f"POST {masked(address.encode()).decode()}", lambda: self.client.post(address, data))

    def _keep(self, what: str, ask) -> None:
        reset_queries()  # the log of a connection ends at 9,000
        with CaptureQueriesContext(connection) as queries:
            response = ask()
            body = b"".join(response.streaming_content) if response.streaming else response.content
        if response.headers["Content-Type"] == "application/zip":
            body = unpacked(body)
        headers = {
            (name.lower(), masked(value.encode()).decode())
            for name, value in response.headers.items()
            if name.lower() not in HEADERS_OF_CHANCE
        }
        self.seen.append(Seen(what, response.status_code, tuple(sorted(headers)), masked(body), len(queries)))


def everything_a_candidate_can_get(bench: made.Bench, *, task: str) -> list[Seen]:
    """A whole attempt, with slips and snooping on the way, up to the moment before sign-off."""
    phone = Candidate(bench)
    rig, version = bench.rig, bench.tasks[task]
    start = reverse("attempt-start", args=[rig.pk, version.pk])
    phone.get(reverse("home"))
    phone.get(reverse("bench-home"))
    phone.get(reverse("bench-rig", args=[rig.pk]))
    phone.get(start)
    phone.post(start, purpose="assessment")
    chosen = {kind: str(each.pk) for kind, each in bench.instruments.items()}
    with_a_ticket(phone, bench, version, chosen)
    number = str(uuid4())
    phone.post(start, id=number, purpose="assessment", cautions_read="on", **chosen)
    attempt = Attempt.objects.get(pk=number)
    without_a_network(phone, bench, attempt)
    for step in version.steps.order_by("position"):
        address = reverse("attempt-step", args=[number, step.position])
        phone.get(address)
        for data in entries_for(step):
            phone.post(address, id=str(uuid4()), **data)
        if step.kind == "measurements":
            measure(phone, step, attempt)
        phone.get(address)
    phone.get(reverse("attempt-overview", args=[number]))
    for name in ("sheet-print", "sheet-transcribe"):
        phone.get(reverse(name, args=[number]))
    phone.get(reverse("sheet-blank", args=[rig.pk, version.pk]))
    for photo in Photo.objects.filter(attempt=attempt):
        phone.get(reverse("photo-file", args=[photo.pk]))
    phone.get(reverse("attempt-result", args=[number]))
    phone.post(reverse("attempt-hand-in", args=[number]))
    returned_for_one_more_reading(phone, bench, attempt)
    for name in ("attempt-overview", "attempt-result", "review-detail"):
        phone.get(reverse(name, args=[number]))
    for address in addresses_of_everything(bench, attempt):
        phone.get(address)
        phone.post(address)
    return phone.seen


def returned_for_one_more_reading(phone: Candidate, bench: made.Bench, attempt: Attempt) -> None:
    """The assessor writes the same in both worlds; the candidate looks, logs, and hands in again."""
    attempt.refresh_from_db()
    steps = [step for step in returns.returnable(attempt, at=NOW) if step.kind != "photo"]
    rights.given_back(bench, attempt, steps=steps, at=NOW)
    phone.get(reverse("bench-home"))
    phone.get(reverse("attempt-overview", args=[attempt.pk]))
    for step in (steps[0], steps[-1]):
        address = reverse("attempt-step", args=[attempt.pk, step.position])
        phone.get(address)
        for data in entries_for(step):
            phone.post(address, id=str(uuid4()), **data)
    phone.post(reverse("attempt-hand-in", args=[attempt.pk]))


def with_a_ticket(phone: Candidate, bench: made.Bench, version: TaskVersion, chosen: dict[str, str]) -> None:
    """A ticket is asked for wrongly, fetched, asked for again, and given back."""
    address = reverse("ticket-issue", args=[bench.rig.pk, version.pk])
    for purpose in ("", "assessment", "assessment"):
        phone.post(address, id=str(uuid4()), purpose=purpose, **chosen)
    phone.post(reverse("ticket-end", args=[Ticket.objects.get(candidate=bench.candidate).pk]))


def without_a_network(phone: Candidate, bench: made.Bench, attempt: Attempt) -> None:
    """A device gets its pack, and sends: something wrong, something right, twice, and otherwise."""
    phone.get(reverse("attempt-pack", args=[attempt.pk]))
    step = attempt.version.steps.order_by("position")[0]
    field, values = ("text", ("about one", "0.2", "0.2", "0.3")) if step.kind == "reading" else ("x", "abca")
    entries = [
        {
            "id": str(uuid4()),
            "attempt": str(attempt.pk),
            "sequence": number,
            "kind": "reading" if step.kind == "reading" else "step",
            "device_at": NOW.isoformat(),
            "payload": {"position": step.position, "fields": {field: value, "unit": "Ω"}},
        }
        for number, value in enumerate(values, start=1)
    ]
    batch = {"owner": str(bench.candidate.pk), "device": str(uuid4()), "device_now": NOW.isoformat()}
    for _ in range(2):
        phone.post(reverse("bench-sync"), batch=json.dumps(batch | {"entries": entries}))
    phone.get(reverse("attempt-pack", args=[attempt.pk]))


def measure(phone: Candidate, step: Step, attempt: Attempt) -> None:
    """Readings of one's own choice: something wrong, something right, a correction, one taken back."""
    address = reverse("attempt-measure", args=[attempt.pk, step.position])
    where = {"test_point": "taps", "condition": "fan-running", "unit_pressure": "mbar"}
    phone.get(address)
    for text in ("about one", "1.58", "1.59"):
        phone.post(address, id=str(uuid4()), text=text, **where)
    for action, data in (("reading-correct", {"text": "1.57", **where}), ("reading-take-back", {})):
        first = attempt.readings.standing().in_order().filter(test_point__slug="taps").first()
        phone.get(reverse("reading-correct", args=[attempt.pk, first.pk]))
        phone.post(reverse(action, args=[attempt.pk, first.pk]), id=str(uuid4()), reason="Misread", **data)
        phone.get(address)


def first_difference(one: bytes, other: bytes) -> str:
    at = next((place for place, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), None)
    return "not in the body" if at is None else f"{one[at - 80 : at + 80]!r} or {other[at - 80 : at + 80]!r}"


def entries_for(step) -> Iterator[dict[str, object]]:
    """Something wrong, then something right, then a correction."""
    if step.kind == "reading":
        yield {"text": "about one", "unit": "mbar"}
        if step.judged_by == "tone":
            yield {"qualifier": "tone"}
        else:
            unit = "mbar" if step.quantity == "pressure" else "Ω"
            yield {"text": "1.58", "unit": unit}
            yield {"text": "1.59", "unit": unit, "reason": "Misread"}
    elif step.kind == "photo":
        yield {"photo": named(picture(step.slug).content)}
    elif step.choices:
        yield {"answer": step.choices[0]["value"], "note": "From my readings."}
    else:
        yield {}


def named(content: bytes):
    file = io.BytesIO(content)
    file.name = "photo.jpg"
    return file


def addresses_of_everything(bench: made.Bench, attempt: Attempt) -> list[str]:
    """Every page of the site, with this world's own rig, attempt and people wherever an id is asked for."""
    values = {"rig": bench.rig.pk, "version": attempt.version_id, "position": 1}
    addresses = []
    for name, patterns in sorted(
        (name, found) for name, found in get_resolver().reverse_dict.lists() if isinstance(name, str)
    ):
        if name in {"sign-out", "sign-in", "static"}:
            continue
        for possibilities, *_ in patterns:
            for _pattern, parameters in possibilities:
                for pk in (bench.rig.pk, attempt.pk, bench.candidate.pk):
                    known = {key: values.get(key, pk) for key in parameters}
                    # A parameter of another type belongs to no page of ours.
                    with suppress(NoReverseMatch):
                        addresses.append(reverse(name, kwargs=known))
    return list(dict.fromkeys(addresses))


@pytest.mark.django_db
@pytest.mark.parametrize(("task", "least"), [(SWITCH_TEST, 150), (FAULT_FINDING, 60)])
def test_a_candidate_gets_the_same_bytes_in_two_worlds(monkeypatch, task, least):
    monkeypatch.setattr(timezone, "now", lambda: NOW)
    # The PDF of a log sheet has an address in it, which can't be masked once it is typeset.
    monkeypatch.setattr(log_sheets, "pdf_of", lambda document: document.html.encode())

    healthy = everything_a_candidate_can_get(world(running=1.58, fault=""), task=task)
    faulty = everything_a_candidate_can_get(world(running=1.97, fault="tubes-crossed"), task=task)

    assert len(healthy) > least
    for one, other in zip(healthy, faulty, strict=True):
        assert one == other, f"{one.what}: {first_difference(one.body, other.body)}"
    assert Centre.objects.count() == 2


@pytest.mark.django_db
def test_a_fault_for_practice_only_looks_like_a_rig_that_was_not_checked(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)
    unchecked, set_aside = (fault_finding.bench() for _ in range(2))
    unchecked.rig.checks.update(session=day_before(unchecked))
    fault_finding.set_fault(set_aside, "contact-open", practice_only=True, at=NOW)

    pages = []
    for bench in (unchecked, set_aside):
        phone = Candidate(bench)
        for version in bench.tasks.values():
            phone.get(reverse("attempt-start", args=[bench.rig.pk, version.pk]))
        pages.append([(seen.status, seen.headers, seen.body) for seen in phone.seen])
    assert pages[0] == pages[1]


def day_before(bench: made.Bench) -> Session:
    """A session of yesterday: a check in it proves nothing today."""
    today = bench.rig.checks.get().session
    return Session.objects.create(
        centre=bench.centre,
        on=today.on - timedelta(days=1),
        half=today.half,
        opened_by=today.opened_by,
        opened_at=today.opened_at - timedelta(days=1),
    )
