"""Forms about an external verifier's visit."""

from typing import Any, cast

from django import forms
from django.db.models import QuerySet

from academy.forms import DayField, SheetForm
from academy.models import Person
from assessments.models import SamplingPlan, Task


class SampleForm(SheetForm):
    """Candidates and tasks, of which what was assessed comes into the sample."""

    button = "Add to the sample"
    error_title = "Not added yet: put this right"

    candidates = forms.ModelMultipleChoiceField(
        queryset=Person.objects.none(),
        widget=forms.SelectMultiple(attrs={"size": 8}),
        help_text="Several with Ctrl, or with Shift. What they have done of the tasks below is added.",
    )
    tasks = forms.ModelMultipleChoiceField(
        queryset=Task.objects.none(), widget=forms.SelectMultiple(attrs={"size": 8})
    )

    def __init__(
        self, *args: Any, candidates: QuerySet[Person], tasks: QuerySet[Task], **options: Any
    ) -> None:
        super().__init__(*args, **options)
        cast("forms.ModelMultipleChoiceField[Person]", self.fields["candidates"]).queryset = candidates
        cast("forms.ModelMultipleChoiceField[Task]", self.fields["tasks"]).queryset = tasks


class PlanChoice(forms.ModelChoiceField):  # type: ignore[type-arg]  # no class of it can be subscripted
    def label_from_instance(self, plan: Any) -> str:
        return f"{plan.starts_on:%-d %B} to {plan.ends_on:%-d %B %Y}, {plan.size} decisions"


class VisitForm(SampleForm):
    button = "Open the visit"
    error_title = "Not opened yet: put this right"

    visitor = forms.ModelChoiceField(
        label="External verifier", queryset=Person.objects.none(), empty_label=None
    )
    starts_on = DayField(label="First day")
    ends_on = DayField(label="Last day", help_text="Nothing is open to them after it.")
    reason = forms.CharField(
        label="What is it for?",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Say what the visit is for."},
    )
    plan = PlanChoice(
        label="Sample of decisions",
        queryset=SamplingPlan.objects.none(),
        required=False,
        empty_label="None: chosen below",
    )
    field_order = ("visitor", "starts_on", "ends_on", "reason", "plan", "candidates", "tasks")

    def __init__(
        self, *args: Any, visitors: QuerySet[Person], plans: QuerySet[SamplingPlan], **options: Any
    ) -> None:
        super().__init__(*args, **options)
        cast("forms.ModelChoiceField[Person]", self.fields["visitor"]).queryset = visitors
        cast("forms.ModelChoiceField[SamplingPlan]", self.fields["plan"]).queryset = plans
        self.fields["candidates"].required = self.fields["tasks"].required = False
