"""What waits of impact reviews: to open, work through, resolve or close; and new attempts asked for."""

from collections.abc import Iterator

from django.db.models import Count, Q
from django.urls import reverse

from academy.notices import Notice, Reader, Urgency
from academy.permissions import Permission
from assessments.models import ImpactReview, Suspension
from assessments.models.impact import Effect, Resolution
from rigs.models import Calibration


def notices(reader: Reader) -> Iterator[Notice]:
    if reader.may(Permission.ATTEMPT_WORK):
        yield from _invited(reader)
    if reader.may(Permission.IMPACT_OPEN):
        yield from _to_open(reader)
    wanted = {Permission.IMPACT_OPEN, Permission.IMPACT_RESOLVE, Permission.IMPACT_CLOSE}
    if wanted & reader.permissions:
        yield from _open_reviews(reader)


def _invited(reader: Reader) -> Iterator[Notice]:
    asked_for = Suspension.objects.waiting().filter(
        item__resolution=Resolution.REASSESS, sign_off__attempt__candidate=reader.person
    )
    for each in asked_for.select_related("item", "sign_off__attempt__version__task"):
        assert each.item.resolved_at is not None  # it is resolved
        yield Notice(
            urgency=Urgency.WAITING,
            text=f"You are invited to do “{each.sign_off.attempt.version.task}” once more",
            url=reverse("attempt-result", args=[each.sign_off.attempt_id]),
            on=reader.centre.date_at(each.item.resolved_at),
        )


def _to_open(reader: Reader) -> Iterator[Notice]:
    found = Calibration.objects.filter(
        instrument__centre=reader.centre, as_found_in_tolerance=False, impact_review=None
    )
    for calibration in found.select_related("instrument"):
        yield Notice(
            urgency=Urgency.NOW,
            text=f"{calibration.instrument.tag} was out of tolerance as found: open an impact review",
            url=reverse("impact-open", kwargs={"calibration": calibration.pk}),
            on=calibration.calibrated_on,
        )


def _open_reviews(reader: Reader) -> Iterator[Notice]:
    unresolved = Q(items__resolution="") & ~Q(items__effect__in=("", Effect.UNAFFECTED))
    found = ImpactReview.objects.visible_to(reader.person).open().select_related("instrument", "rig")
    for review in found.annotate(unresolved=Count("items", filter=unresolved)):
        # Annotated.
        words = _what_next(review, unresolved=review.unresolved, reader=reader)  # type: ignore[attr-defined]
        if words:
            yield Notice(
                urgency=Urgency.WAITING,
                text=f"Impact review {review.number}, {review.tag}: {words}",
                url=reverse("impact-detail", args=[review.pk]),
                on=reader.centre.date_at(review.opened_at),
            )


def _what_next(review: ImpactReview, *, unresolved: int, reader: Reader) -> str:
    if review.marked_at is None:
        return "to work through"
    if unresolved:
        one = unresolved == 1
        waits = f"{unresolved} result{' waits' if one else 's wait'} for an assessor"
        return waits if reader.may(Permission.IMPACT_RESOLVE) else ""
    return "to close" if reader.may(Permission.IMPACT_CLOSE) else ""
