"""Practical tasks, versioned. A version is frozen when it is issued; a change is a new version."""

import uuid
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

if TYPE_CHECKING:
    from academy.models import Person


class Criterion(models.Model):
    """Something the portfolio must cover: by so many attempts, on so many rigs and days, at the least."""

    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="criteria")
    unit = models.CharField(max_length=120)
    code = models.CharField(max_length=20)
    text = models.TextField()
    least_attempts = models.PositiveSmallIntegerField(default=1)
    least_rigs = models.PositiveSmallIntegerField(default=1)
    least_days = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ("code",)
        verbose_name_plural = "criteria"
        constraints = (
            models.UniqueConstraint(fields=("centre", "code"), name="one_criterion_per_code"),
            models.CheckConstraint(
                condition=Q(least_attempts__gte=1, least_rigs__gte=1, least_days__gte=1),
                name="a_criterion_asks_for_one_attempt_at_least",
            ),
            models.CheckConstraint(
                condition=Q(least_rigs__lte=F("least_attempts"), least_days__lte=F("least_attempts")),
                name="a_criterion_asks_for_no_more_rigs_or_days_than_attempts",
            ),
        )

    def __str__(self) -> str:
        return self.code


class Task(models.Model):
    """A practical task, through all its versions."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    centre = models.ForeignKey("academy.Centre", on_delete=models.PROTECT, related_name="tasks")
    slug = models.SlugField(max_length=60)
    title = models.CharField(max_length=120)
    position = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ("position", "title")
        constraints = (
            models.UniqueConstraint(fields=("centre", "slug"), name="one_task_per_slug_and_centre"),
        )

    def __str__(self) -> str:
        return self.title


class TaskVersionQuerySet(models.QuerySet["TaskVersion"]):
    def in_force(self) -> Self:
        return self.filter(withdrawn_at=None)

    def visible_to(self, person: "Person") -> Self:
        return self.filter(task__centre=person.centre_id)


class TaskVersion(models.Model):
    """One issue of a task: its steps, cautions, criteria, and the rig design that it is done on."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField()
    design = models.ForeignKey("rigs.RigDesign", on_delete=models.PROTECT, related_name="task_versions")
    purpose = models.TextField()
    cautions = models.JSONField(default=list)
    guide_minutes = models.PositiveSmallIntegerField()
    content_sha256 = models.CharField(max_length=64)
    requires = models.ManyToManyField(Task, related_name="required_by", blank=True)
    criteria = models.ManyToManyField(Criterion, related_name="task_versions", blank=True)
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    withdrawn_because = models.TextField(blank=True)

    objects = TaskVersionQuerySet.as_manager()

    class Meta:
        ordering = ("task", "-number")
        constraints = (
            models.UniqueConstraint(
                fields=("task", "design", "number"), name="one_task_version_per_number_and_design"
            ),
            models.UniqueConstraint(
                fields=("task", "design"),
                condition=Q(withdrawn_at=None),
                name="one_task_version_in_force_per_design",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at=None) | Q(withdrawn_at__gte=F("issued_at")),
                name="a_task_version_is_withdrawn_after_its_issue",
            ),
        )

    def __str__(self) -> str:
        return f"{self.task}, version {self.number}"


class TaskContent(models.Model):
    """What a version was issued from: the RFC 8785 JSON that its ``content_sha256`` is the digest of.

    Kept apart from the version, which many pages load. ``source`` is the task as it was written, for all its
    designs and with its generator steps; empty where only this version's own data were given.
    """

    version = models.OneToOneField(
        TaskVersion, primary_key=True, on_delete=models.CASCADE, related_name="content"
    )
    text = models.TextField()
    source = models.TextField(blank=True)

    def __str__(self) -> str:
        return f"content of {self.version}"


class StepKind(models.TextChoices):
    ACTION = "action", "action"
    READING = "reading", "reading"
    OBSERVATION = "observation", "observation"
    PHOTO = "photo", "photo"
    MEASUREMENTS = "measurements", "measurements of the candidate's own choice"
    DIAGNOSIS = "diagnosis", "diagnosis"
    CONCLUSION = "conclusion", "conclusion"


class ReadingCheck(models.TextChoices):
    """How a reading is judged. Empty for steps that are not readings."""

    AGREES = "agrees", "agrees with the rig's present value"
    CONTACT = "contact", "state of a contact, lead resistance taken off"
    LEADS = "leads", "the leads by themselves"
    ZERO = "zero", "an instrument's zero"
    TONE = "tone", "a tone"
    FALLS = "falls", "falls by at least so much from an earlier reading"
    CONFORMS = "conforms", "conforms to stated limits"
    REVERSES = "reverses", "has the other sign than an earlier reading"
    CHANGES = "changes", "a contact in another state than on an earlier step"
    REPEATS = "repeats", "repeats earlier readings"
    CLOSES = "closes", "the difference of two earlier pressures"
    COMPUTED = "computed", "follows from the candidate's own earlier readings"


class Step(models.Model):
    """One step of a task version, in its order.

    ``choices`` is a list of {value, label}; ``expected`` (never sent to a candidate) lists the values that
    are right: of the choices, or of a reading's state. ``parameters`` belong to the check: what each kind
    takes is in `assessments.marking.parameters`. A computed reading names the kind of instrument that what it
    is worked out from was read with.
    """

    version = models.ForeignKey(TaskVersion, on_delete=models.CASCADE, related_name="steps")
    position = models.PositiveSmallIntegerField()
    slug = models.SlugField(max_length=60)
    kind = models.CharField(max_length=12, choices=StepKind)
    title = models.CharField(max_length=120)
    instruction = models.TextField()
    why = models.TextField(blank=True)
    safety_critical = models.BooleanField(default=False)
    required = models.BooleanField(default=True)
    condition = models.ForeignKey(
        "rigs.Condition", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    measurand = models.ForeignKey(
        "rigs.Measurand", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    instrument_kind = models.CharField(max_length=20, blank=True)
    quantity = models.CharField(max_length=20, blank=True)
    judged_by = models.CharField(max_length=10, choices=ReadingCheck, blank=True)
    parameters = models.JSONField(default=dict, blank=True)
    choices = models.JSONField(default=list, blank=True)
    expected = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ("version", "position")
        constraints = (
            models.UniqueConstraint(fields=("version", "position"), name="one_step_per_position"),
            models.UniqueConstraint(fields=("version", "slug"), name="one_step_per_slug"),
            models.CheckConstraint(
                condition=~Q(kind="reading") | ~Q(judged_by="") & ~Q(quantity="") & ~Q(instrument_kind=""),
                name="a_reading_step_says_what_is_read_and_how_it_is_judged",
            ),
        )

    def __str__(self) -> str:
        return self.title

    def label_of(self, answer: str) -> str:
        """An answer in the task's words; as it is when it isn't one of the choices."""
        return next((each["label"] for each in self.choices if each["value"] == answer), answer)
