from typing import Any

from crispy_forms.layout import Div, LayoutObject
from django.template.loader import render_to_string

from rigs.models import Condition


class ConditionBanner(LayoutObject):
    """The condition to put the rig into, between the readings of two conditions."""

    def __init__(self, condition: Condition) -> None:
        self.condition = condition

    def render(self, *_args: Any, **_options: Any) -> str:
        return render_to_string(
            "_condition.html", {"name": self.condition.label, "kind": self.condition.slug}
        )


class More(Div):
    """Fields that stay folded away until they are asked for, or hold something to put right."""

    template = "rigs/_more.html"

    def __init__(self, summary: str, *fields: Any, is_open: bool = False) -> None:
        super().__init__(*fields)
        self.summary = summary
        self.is_open = is_open
