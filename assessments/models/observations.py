"""What an assessor saw and heard while a candidate worked: kept apart from what the candidate logged."""

import uuid
from typing import TYPE_CHECKING, Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q

from academy.seals import new_salt

if TYPE_CHECKING:
    from assessments.models.attempts import Attempt


class Seen(models.TextChoices):
    MET = "met", "Met"
    NOT_MET = "not-met", "Not met"
    NOT_SEEN = "not-seen", "Not seen"


class AssessorsEntry(models.Model):
    """Added to only: a later one supersedes with a reason. The id is the device's, so it is kept once."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    supersedes = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="superseded_by"
    )
    reason = models.CharField(max_length=200, blank=True)
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    class Meta:
        abstract = True


class ObservationQuerySet(models.QuerySet["Observation"]):
    def current(self) -> Self:
        return self.exclude(Exists(Observation.objects.filter(supersedes=OuterRef("pk"))))


class Observation(AssessorsEntry):
    """What was seen of one step."""

    attempt = models.ForeignKey("assessments.Attempt", on_delete=models.PROTECT, related_name="observations")
    step = models.ForeignKey("assessments.Step", on_delete=models.PROTECT, related_name="+")
    seen = models.CharField(max_length=10, choices=Seen)
    note = models.TextField(blank=True)

    objects = ObservationQuerySet.as_manager()

    class Meta:
        ordering = ("at", "id")
        constraints = (
            models.UniqueConstraint(
                fields=("attempt", "step"),
                condition=Q(supersedes=None),
                name="a_step_is_first_observed_once",
            ),
            models.CheckConstraint(
                condition=Q(supersedes=None, reason="") | Q(supersedes__isnull=False) & ~Q(reason=""),
                name="a_corrected_observation_says_why",
            ),
            models.CheckConstraint(
                condition=~Q(seen="not-met") | ~Q(note=""), name="a_step_not_met_says_what_was_seen"
            ),
        )

    def __str__(self) -> str:
        return f"{self.step}: {self.get_seen_display()}"

    @property
    def says(self) -> tuple[object, ...]:
        return self.attempt_id, self.step_id, self.seen, self.note


class QuestionSet(models.Model):
    """The short questions of a task, as issued: a list of {key, question, points, safety}.

    A change is a new issue with the next number; answers keep the one that they were asked from.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    task = models.ForeignKey("assessments.Task", on_delete=models.PROTECT, related_name="question_sets")
    number = models.PositiveSmallIntegerField()
    content = models.JSONField()
    content_sha256 = models.CharField(max_length=64)
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ("task", "-number")
        constraints = (
            models.UniqueConstraint(fields=("task", "number"), name="one_question_set_per_number_and_task"),
        )

    def __str__(self) -> str:
        return f"questions for {self.task}, issue {self.number}"


class OralAnswerQuerySet(models.QuerySet["OralAnswer"]):
    def current(self) -> Self:
        return self.exclude(Exists(OralAnswer.objects.filter(supersedes=OuterRef("pk"))))

    def of(self, attempt: "Attempt") -> Self:
        return self.filter(attempt=attempt)


class OralAnswer(AssessorsEntry):
    """A question as it was asked, the answer as it was written down, and whether it was enough."""

    attempt = models.ForeignKey("assessments.Attempt", on_delete=models.PROTECT, related_name="oral_answers")
    questions = models.ForeignKey(QuestionSet, on_delete=models.PROTECT, related_name="answers")
    key = models.SlugField(max_length=60)
    answer = models.TextField()
    met = models.BooleanField()

    objects = OralAnswerQuerySet.as_manager()

    class Meta:
        ordering = ("at", "id")
        constraints = (
            models.UniqueConstraint(
                fields=("attempt", "key"),
                condition=Q(supersedes=None),
                name="a_question_is_first_asked_once",
            ),
            models.CheckConstraint(
                condition=Q(supersedes=None, reason="") | Q(supersedes__isnull=False) & ~Q(reason=""),
                name="a_corrected_answer_says_why",
            ),
            models.CheckConstraint(condition=~Q(answer=""), name="an_oral_answer_is_written_down"),
        )

    def __str__(self) -> str:
        return f"{self.question}: {'met' if self.met else 'not met'}"

    @property
    def says(self) -> tuple[object, ...]:
        return self.attempt_id, self.questions_id, self.key, self.answer, self.met

    @property
    def asked(self) -> dict[str, Any]:
        """The question as it was issued."""
        return next(each for each in self.questions.content if each["key"] == self.key)

    @property
    def question(self) -> str:
        return str(self.asked["question"])

    @property
    def is_of_safety(self) -> bool:
        return bool(self.asked["safety"])
