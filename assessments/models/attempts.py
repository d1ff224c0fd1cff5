"""One candidate doing one task version on one rig, and what was logged while doing it."""

import json
import uuid
from datetime import datetime
from typing import TYPE_CHECKING, Self, TypeVar

from django.conf import settings
from django.db import models
from django.db.models import Case, CharField, Exists, F, OuterRef, Q, Subquery, Value, When

from academy.seals import new_salt, sealed
from assessments.models.decisions import SignOff, suspended

if TYPE_CHECKING:
    from academy.models import Person


class Purpose(models.TextChoices):
    PRACTICE = "practice", "Practice"
    ASSESSMENT = "assessment", "Assessment"


class AttemptStatus(models.TextChoices):
    OPEN = "open", "Being worked on"
    SUBMITTED = "submitted", "Handed in"
    RETURNED = "returned", "Returned for one more reading"
    COUNTERSIGN = "countersign", "Awaiting countersignature"
    SIGNED_OFF = "signed-off", "Signed off"
    VOID = "void", "Void"


AT_WORK = (AttemptStatus.OPEN, AttemptStatus.RETURNED)
"""While it is one of these, it is the candidate's turn."""


class AttemptQuerySet(models.QuerySet["Attempt"]):
    def of(self, person: "Person") -> Self:
        """A candidate's own."""
        return self.filter(candidate=person)

    def visible_to(self, person: "Person") -> Self:
        """Those that somebody who reads attempts may read: the whole centre's."""
        return self.filter(candidate__centre=person.centre_id)

    def marked(self) -> Self:
        """Those with an outcome: all that were ever handed in, or made void."""
        return self.filter(outcomes__number=1)

    def counting(self) -> Self:
        """Those with an outcome that matters: the void left out."""
        return self.marked().exclude(status=AttemptStatus.VOID)

    def get_locked(self, *, pk: uuid.UUID) -> "Attempt":
        """One attempt, locked for writing, with what its verbs ask of it."""
        return (
            self.select_for_update(of=("self",))
            .select_related("rig__centre", "version__task", "candidate")
            .get(pk=pk)
        )

    def with_decision(self) -> Self:
        """Annotate ``decision``: that of the sign-off that stands, None without one.

        Or “suspended”, for one that is left out of account.
        """
        standing = SignOff.objects.current().filter(attempt=OuterRef("pk"))
        stated = standing.values_list(
            Case(When(suspended(), then=Value("suspended")), default="decision", output_field=CharField())
        )
        return self.annotate(decision=Subquery(stated[:1]))

    def awaiting(self, assessor: "Person") -> Self:
        """Handed in and undecided, never one's own; assessments before practice, the oldest first."""
        return (
            self.visible_to(assessor)
            .filter(status=AttemptStatus.SUBMITTED)
            .exclude(candidate=assessor)
            .order_by("purpose", "submitted_at")
        )


class Attempt(models.Model):
    """An attempt. ``sheet``, ``fault`` and the instruments' rows pin what it will be marked against.

    ``salt`` seals what is logged for the ledger. One that was worked on paper says who typed the log sheet
    in, and on what day the work was done: the site's clock wasn't at the bench.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    candidate = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="attempts")
    rig = models.ForeignKey("rigs.Rig", on_delete=models.PROTECT, related_name="attempts")
    version = models.ForeignKey("assessments.TaskVersion", on_delete=models.PROTECT, related_name="attempts")
    purpose = models.CharField(max_length=12, choices=Purpose)
    status = models.CharField(max_length=12, choices=AttemptStatus, default=AttemptStatus.OPEN)
    session = models.ForeignKey(
        "rigs.Session", null=True, blank=True, on_delete=models.PROTECT, related_name="attempts"
    )
    sheet = models.ForeignKey(
        "rigs.ValueSheet", null=True, blank=True, on_delete=models.PROTECT, related_name="attempts"
    )
    fault = models.ForeignKey(
        "rigs.FaultSetting", null=True, blank=True, on_delete=models.PROTECT, related_name="attempts"
    )
    salt = models.CharField(max_length=64, default=new_salt, editable=False)
    cautions_read_at = models.DateTimeField()
    started_at = models.DateTimeField()
    submitted_at = models.DateTimeField(null=True, blank=True)
    transcribed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    observed_on = models.DateField(null=True, blank=True)

    objects = AttemptQuerySet.as_manager()

    class Meta:
        ordering = ("-started_at",)
        constraints = (
            models.UniqueConstraint(
                fields=("candidate", "version", "rig"),
                condition=Q(status="open"),
                name="one_open_attempt_per_candidate_task_and_rig",
            ),
            models.CheckConstraint(
                condition=Q(status="open", submitted_at=None)
                | Q(status="void", submitted_at=None)
                | ~Q(status="open") & Q(submitted_at__gte=F("started_at")),
                name="an_attempt_that_is_not_open_was_handed_in",
            ),
            models.CheckConstraint(
                condition=Q(purpose="practice") | Q(session__isnull=False),
                name="an_assessment_belongs_to_a_session",
            ),
            models.CheckConstraint(
                condition=Q(transcribed_by=None, observed_on=None)
                | Q(transcribed_by__isnull=False, observed_on__isnull=False),
                name="a_log_sheet_typed_in_says_by_whom_and_of_which_day",
            ),
        )
        indexes = (
            models.Index(fields=("status", "submitted_at"), name="attempts_waiting_by_age"),
            models.Index(fields=("candidate", "status"), name="attempts_of_a_candidate"),
            models.Index(fields=("rig", "started_at"), name="attempts_on_a_rig_in_time"),
            models.Index(fields=("started_at",), name="attempts_in_time"),
        )

    def __str__(self) -> str:
        return f"{self.version.task} on {self.rig}"


class TakenInstrument(models.Model):
    """An instrument that is taken along, with the specification and certificate in force at that moment."""

    kind = models.CharField(max_length=20)
    instrument = models.ForeignKey("rigs.Instrument", on_delete=models.PROTECT, related_name="+")
    model = models.ForeignKey("rigs.InstrumentModel", on_delete=models.PROTECT, related_name="+")
    calibration = models.ForeignKey(
        "rigs.Calibration", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"{self.instrument}"


class AttemptInstrument(TakenInstrument):
    """One that was taken to an attempt, pinned at its start."""

    attempt = models.ForeignKey(Attempt, on_delete=models.PROTECT, related_name="instruments")

    class Meta:
        ordering = ("attempt", "kind")
        constraints = (models.UniqueConstraint(fields=("attempt", "kind"), name="one_instrument_per_kind"),)


Entry = TypeVar("Entry", bound="Logged")


class LoggedQuerySet(models.QuerySet[Entry]):
    def in_order(self) -> Self:
        return self.order_by("sequence", "received_at", "id")

    def current(self) -> Self:
        """Without those that a later one supersedes."""
        return self.exclude(Exists(self.model._default_manager.filter(supersedes=OuterRef("pk"))))


class Logged(models.Model):
    """Something a candidate logged. The id and the sequence come from the device; the clock may be wrong.

    What was ``on_paper`` first was typed in from a log sheet: its time is ``written_at``, if one was written.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    step = models.ForeignKey("assessments.Step", on_delete=models.PROTECT, related_name="+")
    sequence = models.PositiveIntegerField()
    device_at = models.DateTimeField(null=True, blank=True)
    received_at = models.DateTimeField()
    on_paper = models.BooleanField(default=False)
    written_at = models.DateTimeField(null=True, blank=True)
    supersedes = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="superseded_by"
    )
    reason = models.CharField(max_length=200, blank=True)

    objects = LoggedQuerySet.as_manager()

    class Meta:
        abstract = True
        ordering = ("sequence", "received_at", "id")

    @property
    def says(self) -> tuple[object, ...]:
        """What was logged, apart from when: the same id with something else is not the same entry."""
        raise NotImplementedError

    @property
    def done_at(self) -> datetime | None:
        """When it was logged at the bench, as far as that is known: nothing tells it of an undated sheet."""
        return self.written_at if self.on_paper else self.received_at

    def digest(self, *, salt: str) -> str:
        """What was logged, sealed for the ledger under its attempt's salt."""
        return sealed(json.dumps(self.says), salt)


def correction_says_why(name: str) -> models.CheckConstraint:
    return models.CheckConstraint(
        condition=Q(supersedes=None, reason="") | Q(supersedes__isnull=False) & ~Q(reason=""), name=name
    )


class StepRecord(Logged):
    """A step done (or, as a correction, not done), an observation made, or a conclusion with its reason."""

    attempt = models.ForeignKey(Attempt, on_delete=models.PROTECT, related_name="records")
    done = models.BooleanField(default=True)
    answer = models.CharField(max_length=60, blank=True)
    note = models.TextField(blank=True)

    class Meta(Logged.Meta):
        constraints = (correction_says_why("a_corrected_step_says_why"),)

    def __str__(self) -> str:
        return f"{self.step}: {self.answer or self.done}"

    @property
    def says(self) -> tuple[object, ...]:
        return self.step_id, self.done, self.answer, self.note


class ReadingQuerySet(LoggedQuerySet["Reading"]):
    def standing(self) -> Self:
        """Those that nothing supersedes and that weren't taken back."""
        return self.current().filter(taken_back=False)


class Reading(Logged):
    """What the candidate wrote down: as typed, parsed, and in SI for the engine.

    On a step of measurements of the candidate's own choice it names the test point and the condition, and may
    say in ``why`` what it was to show. One that is ``taken_back`` strikes another out and holds nothing.
    """

    attempt = models.ForeignKey(Attempt, on_delete=models.PROTECT, related_name="readings")
    instrument = models.ForeignKey(AttemptInstrument, on_delete=models.PROTECT, related_name="readings")
    text = models.CharField(max_length=40)
    unit = models.CharField(max_length=12, blank=True)
    qualifier = models.CharField(max_length=16)
    value = models.DecimalField(max_digits=30, decimal_places=15, null=True, blank=True)
    si_value = models.FloatField(null=True, blank=True)
    si_resolution = models.FloatField(null=True, blank=True)
    test_point = models.ForeignKey(
        "rigs.TestPoint", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    condition = models.ForeignKey(
        "rigs.Condition", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    why = models.CharField(max_length=200, blank=True)
    taken_back = models.BooleanField(default=False)

    objects = ReadingQuerySet.as_manager()  # type: ignore[misc]  # the plugin takes the base's for fixed

    class Meta(Logged.Meta):
        constraints = (
            correction_says_why("a_corrected_reading_says_why"),
            models.CheckConstraint(
                condition=Q(test_point=None, condition=None, why="")
                | Q(test_point__isnull=False, condition__isnull=False),
                name="a_reading_names_test_point_and_condition_or_neither",
            ),
            models.CheckConstraint(
                condition=Q(taken_back=False) | Q(supersedes__isnull=False, text=""),
                name="a_reading_taken_back_strikes_another_out",
            ),
            models.CheckConstraint(
                condition=Q(qualifier="value", value__isnull=False, si_value__isnull=False)
                | ~Q(qualifier="value") & Q(value=None, si_value=None),
                name="a_reading_has_a_value_or_says_why_not",
            ),
        )

    def __str__(self) -> str:
        return f"{self.text} {self.unit}".strip()

    @property
    def says(self) -> tuple[object, ...]:
        said = self.step_id, self.text, self.unit, str(self.qualifier)
        if self.test_point_id is None:
            return said
        return *said, self.test_point_id, self.condition_id, self.why, self.taken_back


def photo_path(photo: "Photo", _filename: str) -> str:
    """Where a photo is stored; the name it came with tells nothing and may hold anything."""
    return f"photos/{photo.attempt_id}/{photo.pk}.jpg"


class Photo(Logged):
    """A photo, re-encoded without its metadata, of which only ``taken_at`` is kept, by the camera's clock.

    ``received_sha256`` is of the bytes as they came, ``pixels_sha256`` of the picture whatever its format.
    """

    attempt = models.ForeignKey(Attempt, on_delete=models.PROTECT, related_name="photos")
    file = models.FileField(upload_to=photo_path, max_length=160)
    sha256 = models.CharField(max_length=64)
    received_sha256 = models.CharField(max_length=64, db_index=True)
    pixels_sha256 = models.CharField(max_length=64, db_index=True)
    taken_at = models.DateTimeField(null=True, blank=True)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()

    class Meta(Logged.Meta):
        constraints = (correction_says_why("a_replaced_photo_says_why"),)

    def __str__(self) -> str:
        return f"photo for {self.step}"

    @property
    def says(self) -> tuple[object, ...]:
        return self.step_id, self.received_sha256
