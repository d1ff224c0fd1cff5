"""The log sheet on paper: a task's steps with room to write, for when a phone at the bench won't do.

Nothing of what a rig reads is on it: what is printed is what the candidate's own screens show.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.utils import timezone, translation

from academy.models import Centre
from assessments.marking.parameters import free_measuring
from assessments.models import Attempt, Step, TaskVersion
from assessments.models.tasks import ReadingCheck, StepKind
from assessments.pdf.document import Document
from assessments.pdf.square_codes import square_code
from assessments.transcription_forms import LINES
from rigs.metrology.quantities import UNITS, Quantity
from rigs.models import Rig
from rigs.models.instruments import InstrumentKind

STYLESHEETS = ("academy/tokens.css", "academy/document.css", "assessments/log-sheet.css")
CODE = "address.png"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetStep:
    """A step as it is printed. ``units`` are those that a reading may be written in; a tone has none.

    ``points`` and ``conditions`` are what may be chosen from where the candidate measures freely.
    """

    step: Step
    units: tuple[str, ...] = ()
    is_tone: bool = False
    points: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()


def of_attempt(*, attempt: Attempt, address: str, at: datetime) -> Document:
    """The sheet of an attempt that was started, with its candidate, instruments and the way back to it."""
    taken = attempt.instruments.select_related("instrument").order_by("kind")
    context = {
        "attempt": attempt,
        "instruments": [(InstrumentKind(each.kind).label, each.instrument.tag) for each in taken],
    }
    return _document(attempt.version, attempt.rig, context, address=address, at=at)


def blank(*, version: TaskVersion, rig: Rig, kinds: Sequence[str], address: str, at: datetime) -> Document:
    """A sheet without a name on it. ``address`` is where the attempt is started before it is typed in."""
    context = {"attempt": None, "instruments": [(InstrumentKind(kind).label, "") for kind in kinds]}
    return _document(version, rig, context, address=address, at=at)


def _document(
    version: TaskVersion, rig: Rig, context: dict[str, Any], *, address: str, at: datetime
) -> Document:
    centre: Centre = rig.centre
    everything = context | {
        "version": version,
        "rig": rig,
        "centre": centre,
        "address": address,
        "printed_at": at,
        "steps": [_printed(step) for step in version.steps.select_related("condition").order_by("position")],
        "lines": range(1, LINES + 1),
        "code": CODE,
    }
    with timezone.override(centre.zone), translation.override("en-gb"):
        html = render_to_string("assessments/log-sheet-document.html", everything)
    return Document(
        html=html,
        title=f"Log sheet: {version.task}, {rig.tag}",
        author=centre.name,
        language="en-GB",
        issued_at=at,
        stylesheets=tuple(_stylesheet(name) for name in STYLESHEETS),
        images={CODE: square_code(address)},
    )


def _printed(step: Step) -> SheetStep:
    match step.kind:
        case StepKind.READING if step.judged_by == ReadingCheck.TONE:
            return SheetStep(step=step, is_tone=True)
        case StepKind.READING:
            return SheetStep(step=step, units=UNITS[Quantity(step.quantity)][:3])
        case StepKind.MEASUREMENTS:
            offered, design = free_measuring(step), step.version.design
            return SheetStep(
                step=step,
                points=tuple(
                    each.label for each in design.test_points.all() if offered.offers_test_point(each.slug)
                ),
                conditions=tuple(
                    each.label for each in design.conditions.all() if offered.offers_condition(each.slug)
                ),
            )
    return SheetStep(step=step)


def _stylesheet(name: str) -> str:
    found = finders.find(name)
    assert isinstance(found, str)  # they come with the package
    return Path(found).read_text(encoding="utf-8")
