"""Appeals against decisions."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from academy.seals import new_salt

if TYPE_CHECKING:
    from academy.models import Person


class AppealStage(models.TextChoices):
    INFORMAL = "informal", "Informal"
    WRITTEN = "written", "Written"


class AppealResult(models.TextChoices):
    UPHELD = "upheld", "The decision stands"
    CHANGED = "changed", "The decision is changed"
    WITHDRAWN = "withdrawn", "The appeal was withdrawn"


class AppealQuerySet(models.QuerySet["Appeal"]):
    def visible_to(self, person: "Person") -> Self:
        return self.filter(sign_off__attempt__candidate__centre=person.centre_id)

    def open(self) -> Self:
        return self.filter(decided_at=None)


class Appeal(models.Model):
    """A candidate's appeal against a sign-off, opened by or for them.

    ``evidence`` is canonical JSON: the digests of everything that was decided on, as it stood then.
    ``due_on`` is the last day for an answer at its present stage. ``changed_to`` is the sign-off that took
    the place of the one appealed against.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    sign_off = models.ForeignKey("assessments.SignOff", on_delete=models.PROTECT, related_name="appeals")
    grounds = models.TextField()
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    stage = models.CharField(max_length=10, choices=AppealStage, default=AppealStage.INFORMAL)
    written_at = models.DateTimeField(null=True, blank=True)
    due_on = models.DateField()
    evidence = models.TextField()
    evidence_sha256 = models.CharField(max_length=64)
    result = models.CharField(max_length=10, choices=AppealResult, blank=True)
    reason = models.TextField(blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    changed_to = models.OneToOneField(
        "assessments.SignOff", null=True, blank=True, on_delete=models.PROTECT, related_name="made_on_appeal"
    )
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    objects = AppealQuerySet.as_manager()

    class Meta:
        ordering = ("-opened_at",)
        constraints = (
            models.UniqueConstraint(
                fields=("sign_off",), condition=Q(decided_at=None), name="one_open_appeal_per_decision"
            ),
            models.CheckConstraint(condition=~Q(grounds=""), name="an_appeal_says_why"),
            models.CheckConstraint(
                condition=Q(result="", decided_at=None, decided_by=None, reason="")
                | ~Q(result="") & Q(decided_at__gte=F("opened_at"), decided_by__isnull=False),
                name="an_appeal_that_is_decided_says_by_whom",
            ),
            models.CheckConstraint(
                condition=Q(result="changed", changed_to__isnull=False)
                | ~Q(result="changed") & Q(changed_to=None),
                name="an_appeal_that_changes_names_the_new_decision",
            ),
            models.CheckConstraint(
                condition=Q(stage="informal", written_at=None) | Q(stage="written", written_at__isnull=False),
                name="a_written_appeal_says_since_when",
            ),
        )

    def __str__(self) -> str:
        return f"appeal against {self.sign_off}"
