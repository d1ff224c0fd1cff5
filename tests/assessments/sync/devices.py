"""Phones that log without a network and send what they have, over a line that is cut at the worst moments."""

import io
import json
import random
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any
from uuid import UUID, uuid4

from django.test import Client
from django.urls import reverse

from academy.models import Person
from assessments import attempts, tickets
from assessments.models import Step, Ticket
from assessments.models.attempts import Purpose
from assessments.models.tasks import StepKind
from tests.factories.assessments import SWITCH_TEST, Bench


class Cut(Exception):
    """The network went away: before the site had it, or after, with the answer lost."""


@dataclass(kw_only=True)
class Line:
    """A network that is cut before a request arrives, or before its answer does, as chance has it."""

    chance: random.Random
    cut_before: float = 0.0
    cut_after: float = 0.0

    def ask(self, client: Client, **request: Any) -> Any:
        if self.chance.random() < self.cut_before:
            raise Cut
        response = client.post(reverse("bench-sync"), **request)
        if self.chance.random() < self.cut_after:
            raise Cut
        return response


@dataclass(kw_only=True)
class Phone:
    """What is kept on a phone: it survives restarts, the rest is gone with the browser."""

    owner: Person
    chance: random.Random
    line: Line
    clock_is_off: timedelta = timedelta()
    device: UUID = field(init=False)
    queue: list[dict[str, Any]] = field(default_factory=list)
    photos: dict[str, bytes] = field(default_factory=dict)
    put_aside: dict[str, dict[str, Any]] = field(default_factory=dict)
    logged: list[str] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.device = self.new_id()

    def new_id(self) -> UUID:
        return UUID(int=self.chance.getrandbits(128), version=4)

    # What the person does ---------------------------------------------------------------------------

    def start(self, ticket: Ticket, *, at: datetime) -> str:
        number = str(self.new_id())
        payload = {
            "ticket": str(ticket.pk),
            "rig": str(ticket.rig_id),
            "version": str(ticket.version_id),
            "instruments": {},
            "cautions_read": True,
        }
        self.add("start", number, payload, at=at, id=number)
        return number

    def log(self, attempt: str, step: Step, *, at: datetime, **fields: str) -> str:
        payload: dict[str, Any] = {"position": step.position, "fields": fields}
        kind = step.kind if step.kind in {"reading", "photo"} else "step"
        return self.add("reading" if step.kind == StepKind.MEASUREMENTS else kind, attempt, payload, at=at)

    def photograph(self, attempt: str, step: Step, content: bytes, *, at: datetime) -> str:
        number = self.log(attempt, step, at=at)
        self.photos[number] = content
        return number

    def correct(self, attempt: str, step: Step, before: str, *, at: datetime, **fields: str) -> str:
        number = self.log(attempt, step, at=at, **fields)
        self.queue[-1]["payload"]["corrects"] = before
        return number

    def take_back(self, attempt: str, step: Step, before: str, *, why: str, at: datetime) -> str:
        payload = {"position": step.position, "corrects": before, "reason": why}
        return self.add("take-back", attempt, payload, at=at)

    def hand_in(self, attempt: str, *, at: datetime) -> str:
        needs = [entry for entry in self.logged if entry != attempt]
        return self.add("hand-in", attempt, {"needs": needs}, at=at)

    def add(
        self,
        kind: str,
        attempt: str,
        payload: Mapping[str, Any],
        *,
        at: datetime,
        id: str = "",  # noqa: A002
    ) -> str:
        self.counts[attempt] = self.counts.get(attempt, 0) + 1
        entry = {
            "id": id or str(self.new_id()),
            "attempt": attempt,
            "sequence": self.counts[attempt],
            "kind": kind,
            "device_at": (at + self.clock_is_off).isoformat(),
            "payload": dict(payload),
        }
        self.queue.append(entry)
        if kind != "hand-in":
            self.logged.append(entry["id"])
        return str(entry["id"])

    def settle(self, number: str, *, stands: str, why: str) -> None:
        """Decide on what the site answered with a conflict."""
        standing = self.put_aside.pop(number)["standing"]
        entry = next(each for each in self.queue if each["id"] == number)
        entry["payload"]["decided"] = {
            "against": standing["id"],
            "stands": stands,
            "reason": why,
            "again": str(self.new_id()),
        }

    def restart(self) -> None:
        """Nothing but what was written down is left."""
        self.queue = json.loads(json.dumps(self.queue))

    # What it does by itself -------------------------------------------------------------------------

    def send(self, *, at: datetime, most: int = 10_000) -> list[dict[str, Any]]:
        """Send the oldest so many. What is in leaves the queue; what a person must see is put aside."""
        waiting = [entry for entry in self.queue if entry["id"] not in self.put_aside][:most]
        if not waiting:
            return []
        response = self.line.ask(self.client, data=self.request(waiting, at=at))
        assert response.status_code == 200, response.text
        answers: list[dict[str, Any]] = response.json()["entries"]
        done = {each["id"] for each in answers if each["result"] in {"stored", "already"}}
        self.queue = [entry for entry in self.queue if entry["id"] not in done]
        self.put_aside |= {each["id"]: each for each in answers if each["result"] in {"refused", "conflict"}}
        return answers

    def request(self, entries: list[dict[str, Any]], *, at: datetime) -> dict[str, Any]:
        batch = {
            "owner": str(self.owner.pk),
            "device": str(self.device),
            "device_now": (at + self.clock_is_off).isoformat(),
            "entries": entries,
        }
        files = {each["id"]: self.photos[each["id"]] for each in entries if each["id"] in self.photos}
        return {"batch": json.dumps(batch)} | {number: named(content) for number, content in files.items()}

    @cached_property
    def client(self) -> Client:
        """Signed in; the session outlives the browser."""
        client = Client()
        client.force_login(self.owner)
        return client


def named(content: bytes) -> io.BytesIO:
    file = io.BytesIO(content)
    file.name = "photo.jpg"
    return file


def ticket_for(
    bench: Bench,
    candidate: Person,
    *,
    task: str = SWITCH_TEST,
    purpose: Purpose = Purpose.ASSESSMENT,
    at: datetime | None = None,
) -> Ticket:
    version = bench.tasks[task]
    return tickets.issue(
        id=uuid4(),
        candidate=candidate,
        version=version,
        rig=bench.rig,
        purpose=purpose,
        chosen={kind: bench.instruments[kind] for kind in attempts.kinds_needed(version)},
        at=at or bench.at,
    )
