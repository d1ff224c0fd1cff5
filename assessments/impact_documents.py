"""An impact review on paper: the review for the centre's file, and a letter to each candidate it touches."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import finders
from django.db.models import Count
from django.template.loader import render_to_string
from django.utils import timezone, translation

from academy import ledger
from academy.models import Centre, Person
from assessments.marking.results import ProposedDecision
from assessments.models import ImpactItem, ImpactReview
from assessments.models.impact import Effect, ErrorModel
from assessments.pdf.document import Document
from rigs.metrology.quantities import UNITS, Quantity, from_si, si_factor

STYLESHEETS = ("academy/tokens.css", "academy/document.css", "assessments/impact.css")


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorPoint:
    """An error as found, in the unit that such an instrument is read in."""

    nominal: str
    error: str
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectCount:
    effect: Effect
    count: int

    @property
    def label(self) -> str:
        return self.effect.label


def counts(review: ImpactReview) -> tuple[EffectCount, ...]:
    """How many of its attempts come out how, in the order of `Effect`."""
    rows = review.items.exclude(effect="").order_by().values_list("effect").annotate(Count("pk"))
    found = dict(rows)
    return tuple(EffectCount(effect=effect, count=found.get(effect, 0)) for effect in Effect)


def points_of(review: ImpactReview) -> tuple[ErrorPoint, ...]:
    return tuple(_point(Quantity(quantity), nominal, error) for quantity, nominal, error in review.points)


def _point(quantity: Quantity, nominal: float, error: float) -> ErrorPoint:
    unit = UNITS[quantity][0]
    return ErrorPoint(
        nominal=f"{from_si(nominal, unit=unit):g}", error=_signed(error / si_factor(unit)), unit=unit
    )


def _signed(number: float) -> str:
    return f"{number:+.3g}".replace("-", "−")


def of_review(review: ImpactReview, *, by: Person, at: datetime) -> Document:
    """Everything about a review on paper. A record of staff: there are figures of rigs in it."""
    items = (
        review.items.affected()
        .select_related(
            "attempt__candidate",
            "attempt__rig",
            "attempt__version__task",
            "outcome",
            "sign_off__assessor",
            "suspension__superseded_by",
            "resolved_by",
        )
        .prefetch_related("outcomes")
        .defer("outcome__inputs", "outcome__result")
    )
    head = ledger.head(centre=review.centre)
    return _document(
        "assessments/impact-document.html",
        {
            "review": review,
            "centre": review.centre,
            "points": points_of(review),
            "effects": counts(review),
            "items": items,
            "models": models_of(review),
            "head": head,
            "issued_by": by,
            "issued_at": at,
        },
        title=f"Impact review {review.number}: {review.tag}",
        centre=review.centre,
        at=at,
        ledger_head=str(head),
    )


def models_of(review: ImpactReview) -> Iterable[ErrorModel]:
    """The models that its attempts are marked under."""
    if review.rig_id is not None:
        return (ErrorModel.SMOOTHED,)
    courses = (ErrorModel.FULL, ErrorModel.GROWTH)
    return courses if review.event_at is None else (*courses, ErrorModel.STEP)


def letter(item: ImpactItem, *, by: Person, at: datetime) -> Document:
    """To the candidate, in plain words. Nothing of what a rig or an instrument reads is in it."""
    return _document(
        "assessments/impact-letter.html",
        {
            "item": item,
            "review": item.review,
            "centre": item.review.centre,
            "signed": item.sign_off,
            "suspension": item.suspended,
            "proposals": {ProposedDecision(each.proposal) for each in item.outcomes.all()},
            "issued_by": by,
            "issued_at": at,
        },
        title=f"About your result: {item.attempt.version.task}",
        centre=item.review.centre,
        at=at,
    )


def _document(
    template: str, context: dict[str, Any], *, title: str, centre: Centre, at: datetime, ledger_head: str = ""
) -> Document:
    with timezone.override(centre.zone), translation.override("en-gb"):
        html = render_to_string(template, context)
    return Document(
        html=html,
        title=title,
        author=centre.name,
        language="en-GB",
        issued_at=at,
        ledger_head=ledger_head,
        stylesheets=tuple(_stylesheet(name) for name in STYLESHEETS),
    )


def _stylesheet(name: str) -> str:
    found = finders.find(name)
    assert isinstance(found, str)  # they come with the package
    return Path(found).read_text(encoding="utf-8")
