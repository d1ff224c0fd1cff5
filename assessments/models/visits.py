"""Visits by an external verifier: what they may look at, until when, and what they looked at."""

import uuid
from datetime import date
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from academy.seals import new_salt

if TYPE_CHECKING:
    from academy.models import Person


class VisitQuerySet(models.QuerySet["Visit"]):
    def visible_to(self, person: "Person") -> Self:
        """All of the centre, for those who arrange visits."""
        return self.filter(centre=person.centre_id)

    def in_force(self, *, on: date) -> Self:
        """Those that are on: first and last day included."""
        return self.filter(starts_on__lte=on, ends_on__gte=on, ended_at=None)

    def open_to(self, visitor: "Person", *, on: date) -> Self:
        """A visitor's own that are on. Nothing else of the centre is there for them."""
        return self.visible_to(visitor).in_force(on=on).filter(visitor=visitor)


class Visit(models.Model):
    """An external verifier's access to a chosen sample, from day to day. ``salt`` seals ``reason``.

    ``plan`` is the verifier's sample that it was taken from, if it was.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="visits")
    visitor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="visits")
    starts_on = models.DateField()
    ends_on = models.DateField()
    reason = models.TextField()
    plan = models.ForeignKey(
        "assessments.SamplingPlan", null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_at = models.DateTimeField(null=True, blank=True)
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    objects = VisitQuerySet.as_manager()

    class Meta:
        ordering = ("-starts_on", "-made_at")
        constraints = (
            models.CheckConstraint(
                condition=Q(ends_on__gte=F("starts_on")), name="a_visit_ends_on_or_after_its_first_day"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="a_visit_says_what_it_is_for"),
            models.CheckConstraint(
                condition=~Q(visitor=F("made_by")), name="nobody_arranges_their_own_visit"
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None, ended_by=None)
                | Q(ended_at__gte=F("made_at"), ended_by__isnull=False),
                name="a_visit_that_was_ended_says_by_whom",
            ),
        )

    def __str__(self) -> str:
        return f"visit of {self.visitor}, {self.starts_on:%Y-%m-%d}"


class VisitSample(models.Model):
    """One candidate's work on one task: what a visit is about."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="sample")
    candidate = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    task = models.ForeignKey("assessments.Task", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("visit", "candidate__name", "task__position")
        constraints = (
            models.UniqueConstraint(
                fields=("visit", "candidate", "task"), name="a_task_of_a_candidate_is_in_a_visit_once"
            ),
        )

    def __str__(self) -> str:
        return f"{self.candidate}, {self.task}"


class VisitPage(models.TextChoices):
    INDEX = "index", "The visit’s own page"
    TRAIL = "trail", "Trail"
    ATTEMPT = "attempt", "Attempt"
    PHOTO = "photo", "Photo"
    CERTIFICATE = "certificate", "Certificate of an instrument"
    PORTFOLIO = "portfolio", "Portfolio"
    PACK = "pack", "Pack"


class VisitLook(models.Model):
    """A page or file that the visitor opened. ``about`` is its id, ``sample`` the trail it belongs to."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="looks")
    page = models.CharField(max_length=12, choices=VisitPage)
    about = models.UUIDField(null=True, blank=True)
    sample = models.ForeignKey(
        VisitSample, null=True, blank=True, on_delete=models.PROTECT, related_name="looks"
    )
    at = models.DateTimeField()

    class Meta:
        ordering = ("-at", "-pk")

    def __str__(self) -> str:
        return f"{self.get_page_display()}, {self.at:%Y-%m-%d %H:%M}"


class Pack(models.Model):
    """Everything about a visit's sample in one ZIP file, as it was at ``made_at``."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="packs")
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    file = models.FileField(upload_to="packs/", max_length=160)
    size = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)
    manifest_sha256 = models.CharField(max_length=64)
    ledger_head = models.CharField(max_length=100)

    class Meta:
        ordering = ("-made_at",)

    def __str__(self) -> str:
        return f"pack of {self.visit}, {self.made_at:%Y-%m-%d %H:%M}"
