"""What goes into a pack besides the portfolios: trails, certificates, the sampling record, the ledger."""

import csv
import io
import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import finders
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.text import slugify

from academy import ledger
from academy.models import LedgerEntry
from assessments import trails, visits
from assessments.models import Attempt, SampledDecision, SignOff, Visit, VisitSample
from assessments.pack_files import PackWriter
from rigs import certificate_files
from rigs.models import Calibration
from rigs.models.certificate_files import ENDINGS, CertificateForm

STYLESHEETS = ("academy/tokens.css", "academy/site.css", "assessments/trail.css")
DECISION_COLUMNS = (
    "position",
    "candidate",
    "task",
    "rig",
    "assessor",
    "decided_at",
    "decision",
    "sampled_for",
    "verifier",
    "verified_at",
    "verifiers_own_decision",
    "agreement",
    "actions",
    "actions_open",
)
README = """\
A pack of evidence for one visit
================================
visit.json            whose visit, which candidates and tasks
trails/               one page for each candidate and task, to open in a browser
portfolios/           the candidates' portfolios as they were issued
certificates/         of the instruments that it all rests on; index.json lists them
sampling/             the internal verifier's samples, and what was found of these decisions
ledger/entries.jsonl  the centre's ledger: entries about the sample whole, others by their hash

To check it:  manage.py check_pack FILE   or, unpacked,   sha256sum -c SHA256SUMS
An entry's hash is SHA-256 over the 32 bytes of the hash before it (zeros before
the first), then its body in UTF-8.
An entry without a body is about something else: its hash keeps its place in the chain.
The centre's site keeps the SHA-256 of manifest.json in its own ledger.
"""


def json_of(data: Any) -> bytes:
    return (json.dumps(data, ensure_ascii=False, sort_keys=True, indent=1) + "\n").encode()


def about(visit: Visit, sample: Iterable[VisitSample]) -> dict[str, Any]:
    return {
        "visitor": visit.visitor.name,
        "starts_on": visit.starts_on.isoformat(),
        "ends_on": visit.ends_on.isoformat(),
        "reason": visit.reason,
        "arranged_by": visit.made_by.name,
        "sample": [
            {
                "candidate": each.candidate.name,
                "candidate_id": str(each.candidate_id),
                "task": each.task.title,
                "task_id": str(each.task_id),
            }
            for each in sample
        ],
    }


def trail_page(sample: VisitSample) -> bytes:
    found = trails.trail(candidate=sample.candidate, task=sample.task)
    centre = sample.candidate.centre
    assert centre is not None  # candidates belong to one
    context = {"trail": found, "links": False, "visit": None, "styles": _styles(), "centre": centre}
    with timezone.override(centre.zone), translation.override("en-gb"):
        return render_to_string("assessments/trail-document.html", context).encode()


def _styles() -> str:
    found = (finders.find(name) for name in STYLESHEETS)
    return "\n".join(Path(str(path)).read_text(encoding="utf-8") for path in found)


def add_certificates(writer: PackWriter, visit: Visit) -> None:
    index = []
    for calibration in _calibrations(visit):
        names = []
        for kept in calibration.files.all():
            ending = ENDINGS[CertificateForm(kept.form)]
            tag = slugify(calibration.instrument.tag)
            name = f"certificates/{tag}-{slugify(calibration.certificate)}-{kept.sha256[:8]}.{ending}"
            what = f"certificate {calibration.certificate} of {calibration.instrument.tag}"
            writer.add(name, certificate_files.content_of(kept), what=what)
            names.append(name)
        index.append(
            {
                "instrument": calibration.instrument.tag,
                "certificate": calibration.certificate,
                "laboratory": calibration.laboratory,
                "calibrated_on": calibration.calibrated_on.isoformat(),
                "due_on": calibration.due_on.isoformat(),
                "as_found_in_tolerance": calibration.as_found_in_tolerance,
                "files": names,
            }
        )
    writer.add("certificates/index.json", json_of(index), what="every certificate that the attempts rest on")


def _calibrations(visit: Visit) -> QuerySet[Calibration]:
    found = visits.calibrations_of(visit).select_related("instrument").prefetch_related("files__calibration")
    return found.order_by("instrument__tag", "calibrated_on", "certificate")


def add_sampling(writer: PackWriter, visit: Visit) -> None:
    sampled = list(_sampled(visit))
    out = io.StringIO()
    table = csv.writer(out)
    table.writerow(DECISION_COLUMNS)
    table.writerows(_row(each) for each in sampled)
    writer.add("sampling/decisions.csv", out.getvalue().encode(), what="sampled decisions and what was found")
    plans = {each.plan_id: each.plan for each in sampled}.values()
    data = [
        {
            "id": str(plan.pk),
            "starts_on": plan.starts_on.isoformat(),
            "ends_on": plan.ends_on.isoformat(),
            "seed": str(plan.seed),
            "settings": plan.settings,
            "stated": plan.stated,
            "made_by": plan.made_by.name,
            "made_at": plan.made_at.isoformat(),
            "in_this_pack": sum(each.plan_id == plan.pk for each in sampled),
        }
        for plan in plans
    ]
    writer.add("sampling/plans.json", json_of(data), what="the samples that they were drawn in")


def _sampled(visit: Visit) -> QuerySet[SampledDecision]:
    return (
        SampledDecision.objects.filter(sign_off__attempt__in=visits.attempts_of(visit))
        .select_related(
            "plan__made_by",
            "sign_off__assessor",
            "sign_off__attempt__candidate",
            "sign_off__attempt__rig",
            "sign_off__attempt__version__task",
            "verification__verifier",
        )
        .prefetch_related("verification__actions")
        .order_by("plan__made_at", "position")
    )


def _row(each: SampledDecision) -> tuple[str, ...]:
    signed, attempt = each.sign_off, each.sign_off.attempt
    found = getattr(each, "verification", None)
    actions = list(found.actions.all()) if found else []
    return tuple(
        _plain(text)
        for text in (
            str(each.position),
            attempt.candidate.name,
            attempt.version.task.title,
            attempt.rig.tag,
            signed.assessor.name,
            signed.at.isoformat(),
            signed.get_decision_display(),
            ", ".join([*each.risks, *each.covers, *(["random"] if each.is_random else [])]),
            found.verifier.name if found else "",
            found.decided_at.isoformat() if found else "",
            found.get_own_decision_display() if found else "",
            found.get_agreement_display() if found else "",
            str(len(actions)),
            str(sum(action.closed_at is None for action in actions)),
        )
    )


def _plain(text: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{text}" if text[:1] in {"=", "+", "-", "@"} else text


def ledger_lines(visit: Visit, *, head: ledger.Head) -> bytes:
    wanted = _ids(visit)
    entries = LedgerEntry.objects.filter(centre=visit.centre, number__lte=head.number).order_by("number")
    return b"".join(_line(entry, wanted) for entry in entries.iterator(chunk_size=2000))


def _line(entry: LedgerEntry, wanted: frozenset[str]) -> bytes:
    line = {"number": str(entry.number), "previous_hash": entry.previous_hash, "hash": entry.hash}
    if not wanted.isdisjoint(_named(entry)):
        line["body"] = entry.body
    return (json.dumps(line, ensure_ascii=False, sort_keys=True) + "\n").encode()


def _named(entry: LedgerEntry) -> Iterator[str]:
    """What an entry is about: its subject, and the attempt or decision among its facts."""
    yield entry.subject
    facts = json.loads(entry.body)["facts"]
    for name in ("attempt", "sign_off", "sampled", "verification", "item", "visit"):
        fact = facts.get(name)
        if isinstance(fact, str):
            yield fact


def _ids(visit: Visit) -> frozenset[str]:
    """Everything that the sample rests on, by id."""
    attempts: QuerySet[Attempt] = visits.attempts_of(visit)
    documents = visits.portfolios_of(visit)
    sampled = SampledDecision.objects.filter(sign_off__attempt__in=attempts)
    found = [
        attempts.values_list("pk"),
        attempts.values_list("sheet", "sheet__rig_check", "sheet__baseline", "fault").distinct(),
        SignOff.objects.filter(attempt__in=attempts).values_list("pk"),
        sampled.values_list("pk", "verification", "verification__actions"),
        attempts.values_list("impact_items").distinct(),
        documents.values_list("pk"),
        visits.calibrations_of(visit).values_list("pk"),
    ]
    ids = {str(one) for rows in found for row in rows for one in row if one is not None}
    return frozenset({*ids, str(visit.pk)})
