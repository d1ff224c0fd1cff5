"""The session sheet on paper: who is where when, with room to write beside each candidate."""

from datetime import datetime
from pathlib import Path

from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.utils import timezone, translation

from assessments import rotation_table
from assessments.models import SessionPlan
from assessments.pdf.document import Document

STYLESHEETS = ("academy/tokens.css", "academy/document.css", "assessments/session-sheet.css")


def sheet(*, plan: SessionPlan, at: datetime) -> Document:
    centre = plan.centre
    context = {"table": rotation_table.table(plan, at=at), "plan": plan, "centre": centre, "printed_at": at}
    with timezone.override(centre.zone), translation.override("en-gb"):
        html = render_to_string("assessments/session-sheet-document.html", context)
    return Document(
        html=html,
        title=f"Session sheet: {plan}",
        author=centre.name,
        language="en-GB",
        issued_at=at,
        stylesheets=tuple(_stylesheet(name) for name in STYLESHEETS),
    )


def _stylesheet(name: str) -> str:
    found = finders.find(name)
    assert isinstance(found, str)  # they come with the package
    return Path(found).read_text(encoding="utf-8")
