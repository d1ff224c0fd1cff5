"""The record that a portfolio carries along, for programs: the same as its pages say, and no more.

``record.json`` is canonical JSON (RFC 8785) with every number written as a string, and every time in UTC.
``readings.csv`` has a row for each reading, the struck-out ones too.
"""

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

import rfc8785

from academy import ledger
from academy.models import Centre
from academy.transfer import csv_files
from assessments.coverage import Coverage
from assessments.models import AttemptInstrument, OralAnswer
from assessments.portfolio_contents import Entry, KeptPhoto, Portfolio
from assessments.showing import ShownReading, ShownStep

FORMAT = "makepoint portfolio 1"
COLUMNS = (
    "attempt",
    "task",
    "task version",
    "rig",
    "handed in",
    "reading",
    "condition",
    "instrument",
    "typed",
    "unit",
    "verdict",
    "in words",
    "struck out because",
)

Json = dict[str, Any]


def record(
    found: Portfolio, *, document: UUID, centre: Centre, head: ledger.Head, issued_by: str, at: datetime
) -> dict[str, bytes]:
    """The files to attach, by name. What the pages leave out for a candidate isn't in them either."""
    content = {
        "format": FORMAT,
        "document": str(document),
        "issued_at": _moment(at),
        "issued_by": issued_by,
        "centre": centre.name,
        "candidate": found.candidate.name,
        "cohorts": list(found.cohorts),
        "with_figures": found.with_ranges,
        "ledger": {"entry": str(head.number), "hash": head.hash},
        "coverage": _coverage(found.coverage),
        "achieved_before": [
            {
                "task": prior.task.slug,
                "on": prior.achieved_on.isoformat(),
                "evidence": prior.evidence,
                "recorded_by": prior.recorded_by.name,
                "recorded_at": _moment(prior.recorded_at),
            }
            for prior in found.priors
        ],
        "attempts": [_attempt(entry) for entry in found.entries],
    }
    return {
        "record.json": rfc8785.dumps(content),
        "readings.csv": csv_files.write(COLUMNS, _rows(found.entries)),
    }


def _coverage(found: Coverage) -> list[Json]:
    return [
        {
            "unit": unit.unit,
            "criterion": criterion.code,
            "text": criterion.text,
            "is_covered": criterion.is_covered,
            "lacks": criterion.lacks,
            "shown_by": [
                {
                    "attempt": None if each.number is None else str(each.number),
                    "what": each.label,
                    "on": each.day.isoformat(),
                }
                for each in criterion.evidence
            ],
        }
        for unit in found.units
        for criterion in unit.criteria
    ]


def _attempt(entry: Entry) -> Json:
    attempt, version = entry.attempt, entry.attempt.version
    session = attempt.session
    return {
        "number": str(entry.number),
        "id": str(attempt.pk),
        "task": version.task.slug,
        "title": version.task.title,
        "version": str(version.number),
        "version_sha256": version.content_sha256,
        "purpose": str(attempt.purpose),
        "rig": attempt.rig.tag,
        "session": f"{session.on.isoformat()} {session.half}" if session else None,
        "started_at": _moment(attempt.started_at),
        "handed_in_at": _moment(attempt.submitted_at),
        "on_paper": _day(attempt.observed_on),
        "instruments": [_instrument(each) for each in entry.instruments],
        "readings": [_reading(each) for each in entry.sheet.readings],
        "readings_missing": [each.title for each in entry.sheet.missing],
        "procedure": [_step(each) for each in entry.sheet.steps],
        "conclusions": [{**_step(each), "reason": each.note} for each in entry.sheet.conclusions],
        "photos": [_photo(each) for each in entry.photos],
        "strands": {name: str(strand.verdict) for name, strand in entry.sheet.strands},
        "observed": _observed(entry),
        "questions": [_answer(each) for each in entry.answers],
        "decision": _decision(entry),
    }


def _observed(entry: Entry) -> Json | None:
    """What an assessor saw at the bench; their notes only where the numbers are."""
    if entry.observed is None:
        return None
    return {
        "verdict": str(entry.observed.verdict),
        "steps": [
            {
                "step": each.step,
                "safety_critical": each.safety_critical,
                "logged": each.logged,
                "seen": str(each.seen),
                "note": each.note if entry.with_numbers else "",
            }
            for each in entry.observed.accounts
        ],
    }


def _answer(answer: OralAnswer) -> Json:
    return {
        "question": answer.question,
        "answer": answer.answer,
        "met": answer.met,
        "by": answer.by.name,
        "at": _moment(answer.at),
    }


def _decision(entry: Entry) -> Json:
    signed, outcome = entry.signed, entry.signed.outcome
    return {
        "decision": str(signed.decision),
        "counts": entry.counts,
        "feedback": signed.feedback,
        "reason": signed.reason if entry.with_numbers else "",
        "assessor": signed.assessor.name,
        "at": _moment(signed.at),
        "countersigned_by": signed.countersignature.countersigned_by.name if signed.is_provisional else None,
        "prompts": [
            {"level": str(prompt.level), "step": prompt.step.title if prompt.step else None}
            for prompt in entry.attempt.prompts.all()
        ],
        "marking": str(outcome.number),
        "engine": outcome.engine,
        "inputs_sha256": outcome.inputs_sha256,
    }


def _instrument(taken: AttemptInstrument) -> Json:
    certificate = taken.calibration
    return {
        "tag": taken.instrument.tag,
        "model": taken.instrument.model.name,
        "certificate": certificate.certificate if certificate else None,
        "due_on": _day(certificate.due_on if certificate else None),
    }


def _reading(reading: ShownReading) -> Json:
    return {
        "title": reading.mark.title,
        "step": reading.mark.step,
        "condition": reading.condition,
        "instrument": reading.instrument,
        "typed": reading.mark.shown,
        "unit": reading.mark.unit,
        "verdict": str(reading.mark.verdict),
        "in_words": reading.sentence,
        "working": [
            {"quantity": line.label, "symbol": line.symbol, "figure": line.figure, "source": line.source}
            for line in reading.working
        ],
        "struck_out": [
            {"typed": each.text, "unit": each.unit, "reason": each.reason} for each in reading.struck_out
        ],
    }


def _step(step: ShownStep) -> Json:
    return {
        "number": str(step.number),
        "title": step.title,
        "state": step.state,
        "is_safety_critical": step.critical,
        "at": _moment(step.at),
    }


def _photo(photo: KeptPhoto) -> Json:
    return {
        "title": photo.title,
        "at": _moment(photo.at),
        "sha256": photo.sha256,
        "received_sha256": photo.received_sha256,
        "replaced_another_because": photo.why,
    }


def _rows(entries: Sequence[Entry]) -> Iterable[Sequence[str]]:
    for entry in entries:
        version = entry.attempt.version
        about = (
            str(entry.number),
            version.task.title,
            str(version.number),
            entry.attempt.rig.tag,
            _moment(entry.attempt.submitted_at) or "",
        )
        for reading in entry.sheet.readings:
            mark, where = reading.mark, (reading.mark.title, reading.condition, reading.instrument)
            yield *about, *where, mark.shown, mark.unit, str(mark.verdict), reading.sentence, ""
            for each in reading.struck_out:
                yield *about, *where, each.text, each.unit, "", "", each.reason


def _moment(at: datetime | None) -> str | None:
    return at.astimezone(UTC).isoformat(timespec="seconds") if at else None


def _day(on: date | None) -> str | None:
    return on.isoformat() if on else None
