"""A draft's steps as a candidate sees them at the bench."""

from collections.abc import Mapping
from typing import Any
from uuid import uuid4

from django import forms
from django.http import Http404
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from assessments import catalogue
from assessments.draft_checks import Written, written_out
from assessments.draft_steps import text_of
from assessments.expansion import ExpansionError
from assessments.forms import FORMS
from assessments.marking.parameters import free_measuring
from assessments.measuring_forms import MeasurementForm
from assessments.models import Step
from assessments.models.tasks import StepKind
from assessments.surroundings import Surrounding
from assessments.views.authoring import AboutDraft, kind_words
from rigs.metrology.quantities import UNITS, Quantity
from rigs.models import RigDesign
from rigs.models.instruments import InstrumentKind


class DraftPreview(AboutDraft, TemplateView):
    """A step as a candidate sees it on one of the designs. Nothing can be logged."""

    template_name = "assessments/draft-preview.html"

    @cached_property
    def designs(self) -> tuple[Surrounding, ...]:
        return self.known.of(self.draft.data["designs"])

    @cached_property
    def design(self) -> Surrounding | None:
        """The design asked for; the first, if none was."""
        asked = self.request.GET.get("design", "")
        named = [each for each in self.designs if each.expansion.slug == asked]
        return next(iter(named or self.designs), None)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        position, written, why_not = self.kwargs["position"], self._written(), self._why_not
        if written and position > len(written):
            raise Http404
        shown = written[position - 1] if written else None
        step = self._step(shown[1], position) if shown else None
        return super().get_context_data(
            draft=self.draft,
            design=self.design,
            designs=self.designs,
            place=text_of(shown[0]) if shown else "",
            step=step,
            kind=kind_words(shown[1]) if shown else "",
            form=self._form(step) if step else None,
            instrument=self._instrument(step),
            number=position,
            count=len(written),
            why_not=why_not,
            back=self.back,
            cautions=self.draft.data["cautions"],
            **context,
        )

    _why_not = ""

    def _written(self) -> list[Written]:
        if self.design is None:
            self._why_not = "Choose a rig design first, in the particulars."
            return []
        try:
            return written_out(self.draft.data, self.design)
        except ExpansionError as error:
            self._why_not = str(error)
            return []

    @cached_property
    def _row(self) -> RigDesign:
        assert self.design is not None
        return RigDesign.objects.get(centre=self.centre, slug=self.design.expansion.slug)

    def _step(self, data: Mapping[str, Any], position: int) -> Step | None:
        """The step as a row that isn't saved; None for one that can't be, which a check says."""
        try:
            step = catalogue.steps_of(design=self._row, steps=[data])[0]
        except KeyError:
            return None
        step.position = position
        return step

    def _form(self, step: Step) -> forms.Form | None:
        """The bench's own form, without anything to send it by; None where the step isn't whole yet."""
        options: dict[str, Any] = {"step": step, "correcting": False}
        initial: dict[str, Any] = {"id": uuid4()}
        try:
            if step.kind == StepKind.MEASUREMENTS:
                form: forms.Form = MeasurementForm(**options, **self._offered(step), initial=initial)
            else:
                if step.quantity:
                    initial["unit"] = UNITS[Quantity(step.quantity)][0]
                form = FORMS[step.kind](**options, initial=initial)
        except (KeyError, ValueError):
            return None
        form.helper.form_tag = False  # type: ignore[attr-defined]
        form.helper.disable_csrf = True  # type: ignore[attr-defined]
        return form

    def _offered(self, step: Step) -> dict[str, Any]:
        """What may be measured where, on a step that leaves it to the candidate."""
        offer = free_measuring(step)
        points, conditions = self._row.test_points.all(), self._row.conditions.all()
        return {
            "test_points": [each for each in points if offer.offers_test_point(each.slug)],
            "conditions": [each for each in conditions if offer.offers_condition(each.slug)],
        }

    def _instrument(self, step: Step | None) -> str:
        kinds = dict(InstrumentKind.choices)
        return f"your {kinds[step.instrument_kind].lower()}" if step and step.instrument_kind in kinds else ""
