"""Phones that log without a network, over lines that are cut anywhere: nothing lost, nothing doubled.

Each pattern of cuts is drawn from a seed. Two phones of one candidate interleave on one attempt.
"""

import random
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import timedelta
from uuid import UUID

import pytest
from django.db import connection, transaction
from django.utils import timezone

from assessments.models import Arrival, Attempt, Photo, Reading, Step, StepRecord, Ticket
from assessments.models.attempts import AttemptStatus
from tests.assessments.sync.devices import Cut, Line, Phone, ticket_for
from tests.factories import assessments as made
from tests.factories.assessments import SWITCH_TEST, Bench, picture

pytestmark = pytest.mark.django_db
GROUPS = 20
# A thousand in all; with another database a hundred, to see that it does the same.
PATTERNS = 50 if connection.vendor == "sqlite" else 5
WHEN = made.AT + timedelta(hours=1)
LOGGED = ("leads-together", "manometer-zero", "prove-before", "isolate", "prove-dead", "photo-before")
READINGS = ("0.2", "0.3", "OL", "Couldn't get it")
MODELS = (Reading, StepRecord, Photo)


@dataclass
class Pattern:
    """A candidate with two phones, and a line that is cut as the seed has it."""

    bench: Bench
    chance: random.Random
    steps: dict[str, Step]
    line: Line
    phones: list[Phone]
    attempt: str = ""
    moment: int = 0
    seen: dict[tuple[int, str], str] = field(default_factory=dict)
    written_again: int = 0

    @property
    def now(self):
        self.moment += 1
        return WHEN + timedelta(seconds=self.moment)

    def work(self) -> None:
        ticket = Ticket.objects.get()
        self.attempt = self.phones[0].start(ticket, at=self.now)
        for _ in range(self.chance.randint(3, 7)):
            place = self.chance.randrange(2)
            if place == 1 and not Attempt.objects.exists():
                place = 0  # the second phone learns of the attempt from the site
            self.do_something(place)

    def do_something(self, place: int) -> None:
        phone = self.phones[place]
        match self.chance.choice(["log", "log", "log", "send", "send some", "restart"]):
            case "log":
                self.log(place, self.chance.choice(LOGGED))
            case "send":
                self.send(phone)
            case "send some":
                self.send(phone, most=self.chance.randint(1, 3))
            case _:
                phone.restart()

    def log(self, place: int, slug: str) -> None:
        """Log a step; one that this phone has logged already is corrected, or an action taken back."""
        phone, step, before = self.phones[place], self.steps[slug], self.seen.get((place, slug))
        why = {} if before is None else {"reason": "Misread"}
        if step.kind == "action" and before is not None:
            return
        fields = why | self.something_for(step)
        if before is None:
            number = phone.log(self.attempt, step, at=self.now, **fields)
        else:
            number = phone.correct(self.attempt, step, before, at=self.now, **fields)
        if step.kind == "photo":
            phone.photos[number] = picture(str(self.chance.randrange(3))).content
        self.seen[place, slug] = number

    def something_for(self, step: Step) -> dict[str, str]:
        if step.kind == "reading":
            unit = "mbar" if step.quantity == "pressure" else "Ω"
            return {"text": self.chance.choice(READINGS), "unit": unit}
        return {"answer": self.chance.choice(step.choices)["value"]} if step.choices else {}

    def send(self, phone: Phone, *, most: int = 10_000) -> None:
        with suppress(Cut):
            phone.send(at=self.now, most=most)

    def finish(self) -> None:
        """Back where there is a network: conflicts are decided, and the first phone hands in."""
        self.line.cut_before = self.line.cut_after = 0.3
        for phone in self.phones:
            self.empty(phone)
        concluded = self.steps["conclusion"]
        answer = {"answer": concluded.choices[0]["value"], "note": "From my readings."}
        self.phones[0].log(self.attempt, concluded, at=self.now, **answer)
        self.phones[0].hand_in(self.attempt, at=self.now)
        self.empty(self.phones[0])

    def empty(self, phone: Phone) -> None:
        for _ in range(200):
            self.send(phone, most=self.chance.choice([1, 2, 10_000]))
            for number, answer in list(phone.put_aside.items()):
                assert answer["result"] == "conflict", answer
                stands = self.chance.choice(["this", "that"])
                phone.settle(number, stands=stands, why="Looked at both displays again")
                self.written_again += stands == "that"
            if not phone.queue:
                return
        raise AssertionError(phone.queue)


def patterns(bench: Bench, *, group: int) -> Iterator[Pattern]:
    steps = {step.slug: step for step in bench.tasks[SWITCH_TEST].steps.all()}
    for number in range(group * PATTERNS, (group + 1) * PATTERNS):
        chance = random.Random(number)
        line = Line(chance=chance, cut_before=chance.random() * 0.6, cut_after=chance.random() * 0.6)
        off = timedelta(minutes=chance.choice([0, 0, -500_000, 3, 90]))
        phones = [
            Phone(owner=bench.candidate, chance=chance, line=line, clock_is_off=clock)
            for clock in (off, timedelta())
        ]
        yield Pattern(bench=bench, chance=chance, steps=steps, line=line, phones=phones)


@pytest.mark.parametrize("group", range(GROUPS))
def test_nothing_is_lost_and_nothing_doubled_wherever_the_line_is_cut(bench, monkeypatch, group):
    monkeypatch.setattr(timezone, "now", lambda: WHEN + timedelta(hours=1))
    ticket_for(bench, bench.candidate)
    for pattern in patterns(bench, group=group):
        with transaction.atomic():
            pattern.work()
            pattern.finish()
            check(pattern)
            transaction.set_rollback(True)


def check(pattern: Pattern) -> None:
    attempt = Attempt.objects.get()
    assert attempt.status == AttemptStatus.SUBMITTED
    assert attempt.outcomes.count() == 1
    rows = [row for model in MODELS for row in model.objects.filter(attempt=attempt)]
    logged = [
        UUID(number) for phone in pattern.phones for number in phone.logged if number != pattern.attempt
    ]
    assert len(set(logged)) == len(logged)
    kept = Counter(row.pk for row in rows)
    assert all(kept[number] == 1 for number in logged)
    assert len(rows) == len(logged) + len(set(kept) - set(logged))
    assert len(set(kept) - set(logged)) <= pattern.written_again
    for phone in pattern.phones:
        arrived = Arrival.objects.filter(device=phone.device).order_by("sequence")
        assert [str(each.pk) for each in arrived if each.kind != "hand-in"] == phone.logged
        firsts = [row for row in rows if row.supersedes_id is None and str(row.pk) in phone.logged]
        assert all(row.sequence == arrived.get(pk=row.pk).sequence for row in firsts)
    for model in MODELS:
        standing = Counter(model.objects.filter(attempt=attempt).current().values_list("step", flat=True))
        assert all(count == 1 for count in standing.values())
