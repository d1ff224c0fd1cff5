"""A centre at work, with a crowd behind it: people and decided attempts inserted as rows, copied from a few.

Their ledger entries aren't copied: each has the digest of the one before it, so they can't be.
"""

import random
from collections.abc import Iterator
from datetime import timedelta
from itertools import count, islice
from typing import Any
from uuid import UUID, uuid4

from django.db import transaction
from django.db.models import Model

from academy.models import Cohort, Membership, Person, Role
from assessments.models import Attempt, AttemptInstrument, Outcome, Photo, Reading, SignOff, StepRecord
from rigs.models import Rig
from tests.benchmarks.window import CHUNK, Row, Template, first_free, insert, row_of, sheets_like
from tests.factories.centres import BusyCentre

ATTEMPTS_EACH = 25
"""How many attempts a candidate has behind them by the end of a course."""
ATTEMPTS_A_DAY = 40
ATTEMPTS_A_SHEET = 6
RIGS = 20
COHORT = 16
AT_ONCE = 4 * COHORT
"""Candidates of four cohorts are there at the same time; those before them have left."""
ATTEMPTS_A_TERM = AT_ONCE * ATTEMPTS_EACH
A_TERM = timedelta(days=ATTEMPTS_A_TERM // ATTEMPTS_A_DAY)
TABLES = (Attempt, AttemptInstrument, Reading, StepRecord, Photo, Outcome, SignOff)


class Crowd:
    """Grows where it stands, so that one centre can be measured at one size and then at another."""

    def __init__(self, centre: BusyCentre, *, seed: int = 1) -> None:
        self.rng = random.Random(seed)
        self.model: Person = centre.things["other"]
        self.templates = [Template(attempt=centre.things[name]) for name in ("decided", "refused")]
        self.signed = {each.attempt.pk: each.attempt.sign_offs.get() for each in self.templates}
        first = self.templates[0].attempt
        self.rigs = [first.rig_id, *_more_rigs(first.rig)]
        self.candidates: list[UUID] = []
        self.attempts = 0

    def grow(self, *, attempts: int) -> None:
        """Until it has so many attempts, the later ones longer ago, and a candidate for every few of them."""
        with transaction.atomic():
            while len(self.candidates) * ATTEMPTS_EACH < attempts:
                self._add_cohort()
            self._add_attempts(attempts - self.attempts)

    def _add_cohort(self) -> None:
        role, membership = self.model.roles.get(), self.model.memberships.get()
        course, added = membership.cohort, [uuid4() for _ in range(COHORT)]
        ended = course.ends_on - A_TERM * (len(self.candidates) // AT_ONCE)
        began, cohort = ended - 2 * A_TERM, uuid4()
        name = f"{course.name}, {2 + len(self.candidates) // COHORT}"
        insert(Cohort, [row_of(course, id=cohort, name=name, starts_on=began, ends_on=ended)])
        insert(Person, [row_of(self.model, id=pk, email=f"{pk}@example.org") for pk in added])
        insert(Role, [row_of(role, id=uuid4(), person_id=pk, starts_on=began) for pk in added])
        joined = {"cohort_id": cohort, "joined_on": began}
        insert(Membership, [row_of(membership, id=uuid4(), person_id=pk, **joined) for pk in added])
        self.candidates += added

    def _add_attempts(self, wanted: int) -> None:
        numbers = count(first_free(AttemptInstrument))
        rows = (row for _ in range(wanted) for row in self._copy(numbers))
        while chunk := list(islice(rows, CHUNK)):
            for model in TABLES:
                insert(model, (row for kind, row in chunk if kind is model))

    def _copy(self, numbers: Iterator[int]) -> Iterator[tuple[type[Model], Row]]:
        if self.attempts % ATTEMPTS_A_SHEET == 0:
            (self.sheet,) = sheets_like(self.templates[0].attempt, count=1, rng=self.rng)
        template, pk, outcome = self.rng.choice(self.templates), uuid4(), uuid4()
        ago = timedelta(days=1 + self.attempts // ATTEMPTS_A_DAY)
        original, signed = template.attempt, self.signed[template.attempt.pk]
        changed: dict[str, Any] = {
            "id": pk,
            "candidate_id": self.rng.choice(self._there()),
            "rig_id": self.rigs[self.attempts // ATTEMPTS_A_SHEET % RIGS],
            "sheet_id": self.sheet,
            "started_at": original.started_at - ago,
            "submitted_at": original.submitted_at - ago,
        }
        yield from template.copied(numbers, self.rng, place=self.attempts, **changed)
        yield Outcome, row_of(template.outcome, id=outcome, attempt_id=pk)
        yield (
            SignOff,
            row_of(signed, id=uuid4(), attempt_id=pk, outcome_id=outcome, at=signed.at - ago),
        )
        self.attempts += 1

    def _there(self) -> list[UUID]:
        """The candidates of the term that the next attempt falls in."""
        first = self.attempts // ATTEMPTS_A_TERM * AT_ONCE
        return self.candidates[first : first + AT_ONCE]


def _more_rigs(rig: Rig) -> list[UUID]:
    added = [uuid4() for _ in range(RIGS - 1)]
    insert(Rig, [row_of(rig, id=pk, tag=f"{rig.tag}-{number}") for number, pk in enumerate(added, start=2)])
    return added
