"""How much a candidate was helped during an attempt."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from academy.seals import new_salt


class PromptLevel(models.IntegerChoices):
    """The levels are common practice, no source."""

    NONE = 0, "None needed"
    REPEATED = 1, "Instruction repeated"
    CLARIFIED = 2, "Instruction made clearer"
    HINTED = 3, "Hint given"
    INTERVENED = 4, "Stepped in for safety"


class Prompt(models.Model):
    """A prompt that an assessor gave, on a step or on the attempt as a whole."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    attempt = models.ForeignKey("assessments.Attempt", on_delete=models.PROTECT, related_name="prompts")
    step = models.ForeignKey(
        "assessments.Step", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    level = models.PositiveSmallIntegerField(choices=PromptLevel)
    words = models.TextField(blank=True)
    given_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    salt = models.CharField(max_length=64, default=new_salt, editable=False)

    class Meta:
        ordering = ("at", "id")
        constraints = (
            models.CheckConstraint(condition=Q(level__range=(0, 4)), name="a_prompt_has_one_of_the_levels"),
            models.CheckConstraint(
                condition=Q(level__lt=3) | ~Q(words=""), name="a_hint_or_intervention_says_what_it_was"
            ),
        )

    def __str__(self) -> str:
        return f"prompt {self.level}: {self.get_level_display()}"
