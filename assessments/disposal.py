"""Records of attempts and decisions that were kept for their period: which they are, and how they go."""

from collections.abc import Iterable, Iterator
from datetime import datetime

from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import F, Max, OuterRef, QuerySet, Subquery

from academy import people
from academy.models import Centre
from academy.personal import Batch, Due, RecordKind, wipe_texts
from assessments.models import (
    Attempt,
    Pack,
    Photo,
    PortfolioDocument,
    PriorAchievement,
    SignOff,
    VisitLook,
)
from assessments.models.attempts import AT_WORK
from assessments.personal_texts import CANDIDATE, TEXTS

TYPICAL = "typical, awarding bodies’ rules; check your scheme’s rules"
PRACTICE = "common practice, no source; check your scheme’s rules"


def delete_files(rows: "QuerySet[Photo] | QuerySet[PortfolioDocument] | QuerySet[Pack]") -> None:
    """Delete the files of these rows once that is committed. The rows, with their digests, stay."""
    kept = dict(rows.exclude(file="").values_list("pk", "file"))
    rows.model._base_manager.filter(pk__in=list(kept)).update(file="")
    transaction.on_commit(lambda: _delete(kept.values()))


def attempts_before(centre: Centre, moment: datetime) -> Iterator[Due]:
    """Attempts of candidates of whom nothing was begun, handed in or decided since."""
    theirs = Attempt.objects.filter(candidate__centre=centre, candidate__erased_at=None)
    times = (
        theirs.order_by()
        .values_list("candidate")
        .annotate(Max("started_at"), Max("submitted_at"), Max("sign_offs__at"))
    )
    last = {candidate: max(filter(None, found)) for candidate, *found in times}
    ripe = [candidate for candidate, at in last.items() if at < moment]
    found = theirs.filter(candidate__in=ripe).exclude(status__in=AT_WORK)
    for attempt in found.select_related("candidate", "version__task"):
        yield Due(
            id=str(attempt.pk),
            person=attempt.candidate_id,
            words=f"{attempt.version.task}, {attempt.candidate.name}",
            since=centre.date_at(last[attempt.candidate_id]),
        )


def cut_loose(batch: Batch) -> None:
    """Wipe the words and the photos, and give the attempts a candidate without a name in place of theirs."""
    attempts = Attempt.objects.filter(pk__in=batch.ids, candidate__centre=batch.centre)
    for texts in TEXTS:
        for way in texts.about:
            if way.endswith(CANDIDATE):
                attempt = way.removesuffix("__candidate")
                wipe_texts(texts, texts.rows.filter(**{f"{attempt}__in": batch.ids}))
    delete_files(Photo.objects.filter(attempt__in=attempts))
    for candidate in attempts.order_by().values_list("candidate", flat=True).distinct():
        nobody = people.nobody(centre=batch.centre, at=batch.at)
        attempts.filter(candidate=candidate).update(candidate=nobody)


def photos_before(centre: Centre, moment: datetime) -> Iterator[Due]:
    """Photos of attempts that were last decided before."""
    decided = SignOff.objects.filter(attempt=OuterRef("attempt")).order_by("-at").values("at")
    found = (
        Photo.objects.filter(attempt__candidate__centre=centre)
        .exclude(file="")
        .annotate(decided=Subquery(decided[:1]))
        .filter(decided__lt=moment)
        .select_related("attempt__candidate", "step")
    )
    for photo in found:
        yield Due(
            id=str(photo.pk),
            person=photo.attempt.candidate_id,
            words=f"{photo.step.title}, {photo.attempt.candidate.name}",
            since=centre.date_at(photo.decided),
        )


def drop_photos(batch: Batch) -> None:
    delete_files(Photo.objects.filter(pk__in=batch.ids, attempt__candidate__centre=batch.centre))


def documents_before(centre: Centre, moment: datetime) -> Iterator[Due]:
    found = PortfolioDocument.objects.filter(candidate__centre=centre, issued_at__lt=moment).exclude(file="")
    for document in found.select_related("candidate"):
        yield Due(
            id=str(document.pk),
            person=document.candidate_id,
            words=f"Portfolio of {document.candidate.name}",
            since=centre.date_at(document.issued_at),
        )


def drop_documents(batch: Batch) -> None:
    delete_files(PortfolioDocument.objects.filter(pk__in=batch.ids, candidate__centre=batch.centre))


def priors_before(centre: Centre, moment: datetime) -> Iterator[Due]:
    found = PriorAchievement.objects.filter(candidate__centre=centre, recorded_at__lt=moment)
    for prior in found.select_related("candidate", "task"):
        yield Due(
            id=str(prior.pk),
            person=prior.candidate_id,
            words=f"{prior.task}, {prior.candidate.name}",
            since=centre.date_at(prior.recorded_at),
        )


def drop_priors(batch: Batch) -> None:
    PriorAchievement.objects.filter(pk__in=batch.ids, candidate__centre=batch.centre).delete()


def packs_before(centre: Centre, moment: datetime) -> Iterator[Due]:
    """A pack has several people in it, and is held as long as one of them is."""
    found = Pack.objects.filter(visit__centre=centre, made_at__lt=moment).exclude(file="")
    for pack in found.annotate(person=F("visit__sample__candidate")).select_related("visit"):
        yield Due(
            id=str(pack.pk),
            person=pack.person,
            words=f"Pack of {pack.made_at:%Y-%m-%d}",
            since=centre.date_at(pack.made_at),
        )


def drop_packs(batch: Batch) -> None:
    delete_files(Pack.objects.filter(pk__in=batch.ids, visit__centre=batch.centre))


def looks_before(centre: Centre, moment: datetime) -> Iterator[Due]:
    found = VisitLook.objects.filter(visit__centre=centre, at__lt=moment).select_related("visit__visitor")
    for look in found:
        yield Due(
            id=str(look.pk),
            person=look.visit.visitor_id,
            words=f"{look.get_page_display()}, {look.visit.visitor.name}",
            since=centre.date_at(look.at),
        )


def drop_looks(batch: Batch) -> None:
    VisitLook.objects.filter(pk__in=batch.ids, visit__centre=batch.centre).delete()


def _delete(names: Iterable[str]) -> None:
    for name in names:
        default_storage.delete(name)


KINDS = (
    RecordKind(
        slug="attempts",
        title="Attempts and decisions",
        months=36,
        source=TYPICAL,
        counted_from="the candidate’s last attempt or decision",
        disposal="Words and photos are wiped, and the figures are cut loose from the person.",
        due=attempts_before,
        dispose=cut_loose,
    ),
    RecordKind(
        slug="photos",
        title="Photos",
        months=12,
        source="typical, until the external verifier’s next visit; check your scheme’s rules",
        counted_from="the decision on the attempt",
        disposal="The file is deleted; its digest stays.",
        due=photos_before,
        dispose=drop_photos,
    ),
    RecordKind(
        slug="portfolios",
        title="Portfolios made as documents",
        months=36,
        source=TYPICAL,
        counted_from="the day on which it was made",
        disposal="The file is deleted; its digest stays.",
        due=documents_before,
        dispose=drop_documents,
    ),
    RecordKind(
        slug="priors",
        title="Prior achievements",
        months=36,
        source=TYPICAL,
        counted_from="the day on which it was recorded",
        disposal="They are deleted.",
        due=priors_before,
        dispose=drop_priors,
    ),
    RecordKind(
        slug="packs",
        title="Packs for external verifiers",
        months=12,
        source=PRACTICE,
        counted_from="the day on which it was made",
        disposal="The file is deleted; its digests stay.",
        due=packs_before,
        dispose=drop_packs,
    ),
    RecordKind(
        slug="visit-looks",
        title="Pages that external verifiers opened",
        months=36,
        source=PRACTICE,
        counted_from="the day",
        disposal="They are deleted.",
        due=looks_before,
        dispose=drop_looks,
    ),
)
