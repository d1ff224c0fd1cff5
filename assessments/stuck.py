"""Who gets no further, and why, from what was looked up before."""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Any
from uuid import UUID

from assessments import progress
from assessments.cohort_records import DONE, NOT_ISSUED, Member, Pair, Records, Try
from assessments.models import Outcome, ResitLeave, ResitRule, Task
from assessments.progress import Standing

# Common practice, no source.
STALLED_DAYS = 14
WAITS_DAYS = 5


class Why(StrEnum):
    """In the order in which they are looked at: first what others must do."""

    ASSESSOR = "assessor"
    RIG = "rig"
    PREREQUISITE = "prerequisite"
    RESIT = "resit"
    STEP = "step"
    STALLED = "stalled"


WORDS = {
    Why.ASSESSOR: "Waits for an assessor",
    Why.RIG: "No rig in service",
    Why.PREREQUISITE: "A task that comes first is missing",
    Why.RESIT: "May not try again yet",
    Why.STEP: "The same step, twice",
    Why.STALLED: f"Nothing for more than {STALLED_DAYS} days",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why somebody is stuck, in a sentence; with a task where it is about one."""

    why: Why
    words: str
    task: Task | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Looked:
    """What the reasons need beside the records."""

    records: Records
    achieved: frozenset[Pair]
    titles: Mapping[UUID, str]
    rules: Mapping[UUID, ResitRule]
    leave: frozenset[Pair]
    missed: Mapping[Pair, tuple[str, ...]]


def reasons(records: Records) -> dict[tuple[UUID, UUID], tuple[Reason, ...]]:
    """By cohort and candidate: those who have something left to do and are stuck. Six queries."""
    looked = _Looked(
        records=records,
        achieved=frozenset(progress.achieved([member.person for member in records.members])),
        titles=dict(Task.objects.filter(centre=records.centre).values_list("pk", "title")),
        rules={rule.task_id: rule for rule in ResitRule.objects.filter(task__centre=records.centre)},
        leave=frozenset(
            ResitLeave.objects.unused().filter(task__centre=records.centre).values_list("candidate", "task")
        ),
        missed=_missed_twice(records),
    )
    found = {}
    for member in records.members:
        said = tuple(_of(member, looked))
        if said:
            found[member.cohort.pk, member.person.pk] = said
    return found


def _of(member: Member, looked: _Looked) -> Iterator[Reason]:
    records, candidate = looked.records, member.person.pk
    left = [task for task in member.tasks if records.standing(candidate, task.pk) not in DONE]
    if not left or member.cohort.starts_on > records.on:
        return
    said = [reason for task in left for reason in _of_task(member, task, looked)]
    yield from sorted(said, key=lambda reason: list(Why).index(reason.why))
    waits = any(
        records.standing(candidate, task.pk) in {Standing.SUBMITTED, Standing.COUNTERSIGN} for task in left
    )
    idle = (records.on - _last_active(member, records)).days
    if idle > STALLED_DAYS and not waits:
        yield Reason(why=Why.STALLED, words=f"Nothing for {idle} days")


def _of_task(member: Member, task: Task, looked: _Looked) -> Iterator[Reason]:
    records, pair = looked.records, (member.person.pk, task.pk)
    standing = records.standing(*pair)
    if standing in {Standing.SUBMITTED, Standing.COUNTERSIGN}:
        yield from _waits(task, records.counted(*pair), looked)
        return
    issue = records.issues.get(task.pk, NOT_ISSUED)
    if not any(records.rigs.get(design) for design in issue.designs):
        why = "No rig is in service for it" if issue.designs else "No version of it is in force"
        yield Reason(why=Why.RIG, words=f"{task}: {why.lower()}", task=task)
    planned = {each.pk for each in member.tasks}
    for needed in sorted(issue.requires - planned, key=lambda each: looked.titles.get(each, "")):
        if (member.person.pk, needed) not in looked.achieved:
            words = f"{task}: “{looked.titles[needed]}” comes first, and isn’t planned"
            yield Reason(why=Why.PREREQUISITE, words=words, task=task)
    yield from _resit(task, pair, looked)
    for step in looked.missed.get(pair, ()):
        yield Reason(why=Why.STEP, words=f"{task}: “{step}” not met twice running", task=task)


def _waits(task: Task, tries: Iterable[Try], looked: _Looked) -> Iterator[Reason]:
    handed_in = [each.submitted_at for each in tries if each.submitted_at and each.decided is None]
    if handed_in:
        since = _day(min(handed_in), looked)
        if (looked.records.on - since).days > WAITS_DAYS:
            words = f"{task}: waits for an assessor since {since:%-d %b}"
            yield Reason(why=Why.ASSESSOR, words=words, task=task)


def _resit(task: Task, pair: Pair, looked: _Looked) -> Iterator[Reason]:
    rule = looked.rules.get(task.pk)
    refused = [each.decided for each in looked.records.counted(*pair) if each.decided and each.decided.counts]
    if rule is None or not refused or pair in looked.leave:
        return
    last = max(refused, key=lambda each: each.at)
    days = max(rule.wait_days, 1 if rule.not_same_day and last.breach else 0)
    again = _day(last.at, looked) + timedelta(days=days)
    if again > looked.records.on:
        yield Reason(why=Why.RESIT, words=f"{task}: may be tried again from {again:%-d %b}", task=task)
    if rule.most_attempts is not None and len(refused) >= rule.most_attempts:
        words = f"{task}: tried {len(refused)} times, needs leave for another attempt"
        yield Reason(why=Why.RESIT, words=words, task=task)


def _last_active(member: Member, records: Records) -> date:
    moments = [
        moment
        for task in member.tasks
        for each in records.tries.get((member.person.pk, task.pk), ())
        for moment in (each.started_at, each.submitted_at)
        if moment is not None
    ]
    days = [records.centre.date_at(moment) for moment in moments]
    return max([*days, member.joined_on, member.cohort.starts_on])


def _day(moment: datetime, looked: _Looked) -> date:
    return looked.records.centre.date_at(moment)


def _missed_twice(records: Records) -> dict[Pair, tuple[str, ...]]:
    """Titles of the steps that weren't met in the last two decided attempts, both not yet competent."""
    last_two: dict[Pair, tuple[UUID, UUID]] = {}
    for pair, tries in records.tries.items():
        decided = [each.decided for each in tries if each.decided and each.decided.counts]
        if records.standing(*pair) not in DONE and len(decided) >= 2:
            last_two[pair] = decided[-2].outcome, decided[-1].outcome
    wanted = {outcome for both in last_two.values() for outcome in both}
    results = dict(Outcome.objects.filter(pk__in=wanted).values_list("pk", "result"))
    missed = {pk: _missed(json.loads(result)) for pk, result in results.items()}
    return {
        pair: tuple(title for step, title in missed[after].items() if step in missed[before])
        for pair, (before, after) in last_two.items()
    }


def _missed(document: Mapping[str, Any]) -> dict[str, str]:
    """The steps of a marking that weren't met, with their titles."""
    findings = [
        finding
        for strand in ("procedure", "readings", "conclusion")
        if document[strand]["verdict"] == "not-met"
        for finding in document[strand]["findings"]
    ]
    outside = [mark for mark in document["marks"] if mark["verdict"] == "out-of-range"]
    return {each["step"]: each["title"] for each in [*findings, *outside]}
