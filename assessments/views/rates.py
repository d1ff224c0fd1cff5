"""Is one assessor, rig or task the odd one out? For verifiers and managers."""

from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from academy.access import AccessMixin
from academy.forms import DayField
from academy.permissions import Permission
from academy.transfer.downloads import table
from assessments import decision_rates
from assessments.cohort_forms import FilterForm
from assessments.rate_drawings import dot_plot
from assessments.views.downloading import as_response

A_YEAR = timedelta(days=365)
HEADER = (
    "of",
    "name",
    "decisions",
    "competent",
    "share_percent",
    "share_lower_percent",
    "share_upper_percent",
    "difference_points",
    "difference_lower_points",
    "difference_upper_points",
    "p",
    "p_for_so_many",
)


class PeriodForm(FilterForm):
    """The days whose decisions are compared."""

    starts_on = DayField(label="Decided from", required=False)
    ends_on = DayField(label="To", required=False)


class DecisionRates(AccessMixin, TemplateView):
    permission = Permission.RATES_READ
    template_name = "assessments/decision-rates.html"
    section = "verification"

    @cached_property
    def form(self) -> PeriodForm:
        first = {"starts_on": self.today - A_YEAR, "ends_on": self.today}
        return PeriodForm(first | {name: value for name, value in self.request.GET.items() if value})

    @cached_property
    def questions(self) -> tuple[decision_rates.Question, ...]:
        """Of the days asked for; none where those make no sense."""
        if not self.form.is_valid():
            return ()
        starts_on: date = self.form.cleaned_data["starts_on"]
        ends_on: date = self.form.cleaned_data["ends_on"]
        if ends_on < starts_on:
            self.form.add_error("ends_on", "The last day can’t be before the first.")
            return ()
        return decision_rates.questions(centre=self.centre, starts_on=starts_on, ends_on=ends_on)

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        wanted = request.GET.get("as", "")
        if wanted in {"csv", "xlsx"} and self.questions:
            return as_response(table(HEADER, self._rows(), title="Rates", wanted=wanted), name="rates")
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        return super().get_context_data(
            form=self.form,
            questions=[(each, dot_plot(each.rates)) for each in self.questions if each.rates.groups],
            **context,
        )

    def _rows(self) -> list[tuple[Any, ...]]:
        return [
            (
                each.noun,
                group.name,
                group.share.n,
                group.competent,
                *(round(100 * end, 1) for end in (group.share.value, group.share.lower, group.share.upper)),
                *(
                    (
                        *(
                            round(100 * end, 1)
                            for end in (group.beside.difference, group.beside.lower, group.beside.upper)
                        ),
                        round(group.beside.p, 5),
                        round(group.beside.adjusted_p, 5),
                    )
                    if group.beside
                    else ("",) * 5
                ),
            )
            for each in self.questions
            for group in each.rates.groups
        ]
