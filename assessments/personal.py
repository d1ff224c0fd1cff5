"""What attempts and decisions say about people: what is wiped with somebody, what stays as evidence, and why.

Figures, verdicts and decisions stay: the fairness of other people's results rests on them. Words go.
"""

from collections.abc import Collection
from uuid import UUID

from django.db import models

from academy.models import Person
from academy.personal import Keeper, Reasons
from assessments.disposal import KINDS, delete_files
from assessments.models import (
    Appeal,
    ImpactItem,
    Pack,
    Photo,
    Phrase,
    PortfolioDocument,
)
from assessments.models.impact import Effect
from assessments.own_records import parts
from assessments.personal_texts import CANDIDATE, DECIDED, KEPT, TEXTS


def holds(people: Collection[UUID]) -> Reasons:
    """An appeal that isn't decided, and a review of results that isn't closed, hold everything."""
    found: dict[UUID, list[str]] = {}
    appeals = Appeal.objects.open().filter(**{f"{DECIDED}__in": list(people)})
    for candidate in appeals.values_list(DECIDED, flat=True).distinct().order_by():
        found.setdefault(candidate, []).append("an appeal is open")
    items = ImpactItem.objects.exclude(effect=Effect.UNAFFECTED).filter(review__closed_at=None)
    reached = items.filter(**{f"{CANDIDATE}__in": list(people)})
    reviews = reached.values_list(CANDIDATE, "review__number").distinct().order_by("review__number")
    for candidate, number in reviews:
        found.setdefault(candidate, []).append(f"impact review {number} is open")
    return found


def wipe(person: Person) -> None:
    """Files with the person in them, and an assessor's own phrases."""
    delete_files(Photo.objects.filter(attempt__candidate=person))
    delete_files(PortfolioDocument.objects.filter(candidate=person))
    delete_files(Pack.objects.filter(visit__sample__candidate=person))
    Phrase.objects.filter(assessor=person).delete()
    named = Phrase.objects.filter(assessor__centre=person.centre_id)
    named.filter(models.Q(text__icontains=person.name) | models.Q(text__icontains=person.email)).delete()


KEEPER = Keeper(texts=TEXTS, kept=KEPT, holds=holds, wipe=wipe, parts=parts, kinds=KINDS)
