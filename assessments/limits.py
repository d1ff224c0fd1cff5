"""The limits that tasks state: where they come from, when they hold, and who confirmed them for the centre.

A limit from a standard is somebody's copy of it until the centre has compared it with the edition in force.
Until then, and outside the days on which it applies, the tasks that use it are for practice only.
"""

import hashlib
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import Any

import rfc8785
from django.db import transaction

from academy import ledger
from academy.models import Centre, Person
from academy.refusals import Refused
from assessments.marking import parameters
from assessments.models import LimitConfirmation, Step, TaskVersion
from assessments.models.tasks import ReadingCheck


@dataclass(frozen=True, kw_only=True)
class StatedLimit:
    """One limit as its source has it. ``lower`` and ``upper`` in ``unit``, None on a side without one."""

    source: str
    clause: str
    dated: str
    lower: float | None
    upper: float | None
    unit: str
    applies_from: date | None = None
    applies_until: date | None = None

    @cached_property
    def digest(self) -> str:
        """SHA-256 of its RFC 8785 JSON: another figure, source, edition or day makes another limit."""
        content = {name: _plain(value) for name, value in asdict(self).items()}
        return hashlib.sha256(rfc8785.dumps(content)).hexdigest()

    @property
    def figures(self) -> str:
        unit = "" if self.unit == "1" else f" {self.unit}"
        if self.lower is None:
            return f"at most {_figure(self.upper)}{unit}"
        if self.upper is None:
            return f"at least {_figure(self.lower)}{unit}"
        return f"{_figure(self.lower)} to {_figure(self.upper)}{unit}"

    @property
    def from_where(self) -> str:
        return f"{self.source}, {self.clause}" if self.clause else self.source

    def __str__(self) -> str:
        return f"{self.figures} ({self.from_where}, {self.dated})"

    def holds_on(self, on: date) -> bool:
        return (self.applies_from is None or self.applies_from <= on) and (
            self.applies_until is None or on <= self.applies_until
        )


@dataclass(slots=True, kw_only=True)
class LimitInForce:
    """A limit of the tasks in force, where it is used, and the centre's confirmation if there is one."""

    limit: StatedLimit
    confirmation: LimitConfirmation | None
    uses: list[Step] = field(default_factory=list)


def in_force(*, centre: Centre) -> list[LimitInForce]:
    """Every limit in the tasks in force, those that wait for a confirmation first. Two queries."""
    steps = (
        Step.objects.filter(
            judged_by=ReadingCheck.CONFORMS,
            version__task__centre=centre,
            version__withdrawn_at=None,
        )
        .select_related("version__task", "version__design")
        .order_by("version__task__position", "version__design__name", "position")
    )
    confirmed = _confirmations(centre)
    found: dict[str, LimitInForce] = {}
    for step in steps:
        limit = of_step(step)
        row = LimitInForce(limit=limit, confirmation=confirmed.get(limit.digest))
        found.setdefault(limit.digest, row).uses.append(step)
    return sorted(found.values(), key=lambda each: each.confirmation is not None)


def of_step(step: parameters.Parametrised) -> StatedLimit:
    """The limit that a step judged by “conforms” states. Raises ParameterError where it isn't sound."""
    stated = parameters.limits(step)
    return StatedLimit(
        source=stated.source,
        clause=stated.clause,
        dated=stated.dated,
        lower=None if math.isinf(stated.lower) else stated.lower,
        upper=None if math.isinf(stated.upper) else stated.upper,
        unit=stated.unit,
        applies_from=stated.applies_from,
        applies_until=stated.applies_until,
    )


def why_not(*, version: TaskVersion, on: date) -> list[str]:
    """Why the limits of a task can't be used in an assessment on a day, in words for the candidate."""
    stated = {limit.digest: limit for limit in map(of_step, _steps(version))}
    if not stated:
        return []
    confirmed = _confirmations(version.task.centre)
    reasons = [
        reason
        for digest, limit in stated.items()
        if (reason := _why_not(limit, on=on, confirmed=digest in confirmed)) is not None
    ]
    return list(dict.fromkeys(reasons))


@transaction.atomic
def confirm(*, centre: Centre, digest: str, compared: bool, by: Person, at: datetime) -> LimitConfirmation:
    """Put a limit in use. Refused unless the person says that they compared it with the current edition.

    A limit that is confirmed already stays as it is: who was first, and when, is on record.
    """
    row = next((each for each in in_force(centre=centre) if each.limit.digest == digest), None)
    if row is None:
        raise Refused("No task in force has this limit any more. Load the page again.")
    if not compared:
        raise Refused("Compare it with the current edition first, and say so.", field="compared")
    confirmation, is_new = LimitConfirmation.objects.get_or_create(
        centre=centre,
        digest=digest,
        defaults={"text": str(row.limit), "confirmed_by": by, "confirmed_at": at},
    )
    if is_new:
        facts = {"limit": digest}
        ledger.append(
            centre=centre, actor=by, verb="limit.confirm", subject=confirmation.pk, at=at, facts=facts
        )
    return confirmation


def _why_not(limit: StatedLimit, *, on: date, confirmed: bool) -> str | None:
    if limit.applies_from is not None and on < limit.applies_from:
        return f"A limit of this task ({limit.from_where}) only applies from {limit.applies_from:%d %B %Y}."
    if limit.applies_until is not None and limit.applies_until < on:
        return f"A limit of this task ({limit.from_where}) ran out on {limit.applies_until:%d %B %Y}."
    if not confirmed:
        return f"Your centre hasn't confirmed a limit of this task yet ({limit.from_where})."
    return None


def _steps(version: TaskVersion) -> Iterable[Step]:
    return version.steps.filter(judged_by=ReadingCheck.CONFORMS)


def _confirmations(centre: Centre) -> Mapping[str, LimitConfirmation]:
    rows = LimitConfirmation.objects.filter(centre=centre).select_related("confirmed_by")
    return {each.digest: each for each in rows}


def _figure(value: float | None) -> str:
    return "" if value is None else f"{value:g}".replace("-", "\N{MINUS SIGN}")


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value
