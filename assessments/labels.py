"""What is stuck on a rig or an instrument: its tag with a code to scan, and the notice that it is on hold.

Nothing that a rig reads is on them: whoever picks the thing up reads them, candidates too.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.utils import timezone, translation

from academy.models import Centre
from assessments.pdf.document import Document
from assessments.pdf.square_codes import square_code
from rigs.models import Hold, Instrument, Rig

LABELS_ON_A_SHEET = 24
"""3 × 8 labels of 70 × 37 mm on A4, without a margin (common practice, no source)."""
LONG_TAG = 9  # letters; a longer tag is set smaller


class NoticeSize(StrEnum):
    A5 = "a5"
    A6 = "a6"


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """One label. ``code`` names its picture in the document."""

    tag: str
    what: str
    code: str
    address: str

    @property
    def is_long(self) -> bool:
        return len(self.tag) > LONG_TAG


def one(*, thing: Rig | Instrument, address: str, at: datetime) -> Document:
    """A page of the size of a label."""
    context = {"labels": [_label(thing, address=address, number=1)], "blanks": range(0)}
    return _document(
        "label",
        context | {"centre": thing.centre},
        sheets=("label", "label-one"),
        title=f"Label: {thing.tag}",
        addresses=[address],
        at=at,
    )


def sheet(
    *, things: Mapping[Rig | Instrument, str], centre: Centre, first: int = 1, at: datetime
) -> Document:
    """Labels on A4, in the order given, each thing with its address. ``first`` skips those used before."""
    labels = [
        _label(thing, address=address, number=number)
        for number, (thing, address) in enumerate(things.items(), start=1)
    ]
    return _document(
        "label",
        {"labels": labels, "blanks": range(first - 1), "centre": centre},
        sheets=("label", "label-sheet"),
        title="Labels",
        addresses=list(things.values()),
        at=at,
    )


def hold_notice(*, hold: Hold, address: str, size: NoticeSize, at: datetime) -> Document:
    """What hangs on a thing on hold: that it isn't used, why, who says so, since when."""
    thing = hold.rig or hold.instrument
    assert thing is not None  # the database sees to it
    context = {
        "hold": hold,
        "label": _label(thing, address=address, number=1),
        "noun": "rig" if hold.rig else "instrument",
        "centre": thing.centre,
    }
    return _document(
        "hold-notice",
        context,
        sheets=("hold-notice", f"hold-notice-{size}"),
        title=f"On hold: {thing.tag}",
        addresses=[address],
        at=at,
    )


def _label(thing: Rig | Instrument, *, address: str, number: int) -> Label:
    what = thing.design.name if isinstance(thing, Rig) else thing.model.name
    return Label(tag=thing.tag, what=what, code=_code(number), address=address)


def _code(number: int) -> str:
    return f"address-{number}.png"


def _document(
    template: str,
    context: dict[str, Any],
    *,
    sheets: Sequence[str],
    title: str,
    addresses: Sequence[str],
    at: datetime,
) -> Document:
    centre: Centre = context["centre"]
    with timezone.override(centre.zone), translation.override("en-gb"):
        html = render_to_string(f"assessments/{template}-document.html", context | {"title": title})
    names = ("academy/tokens.css", *(f"assessments/{name}.css" for name in sheets))
    return Document(
        html=html,
        title=title,
        author=centre.name,
        language="en-GB",
        issued_at=at,
        stylesheets=tuple(_stylesheet(name) for name in names),
        images={_code(number): square_code(address) for number, address in enumerate(addresses, start=1)},
    )


def _stylesheet(name: str) -> str:
    found = finders.find(name)
    assert isinstance(found, str)  # they come with the package
    return Path(found).read_text(encoding="utf-8")
