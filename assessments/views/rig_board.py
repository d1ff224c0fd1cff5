"""The rig board, and the page with a rig's charts: seeing those counts as having seen what it reads."""

from typing import Any

from django.db.models import QuerySet
from django.views.generic import DetailView, ListView

from academy.access import AccessMixin, request_permissions
from academy.permissions import Permission
from assessments import disclosure, rig_charts, rig_load
from assessments.models import Attempt
from rigs import board, charts, series, sessions
from rigs.models import Rig, Session

ATTEMPTS_SHOWN = 20


class RigList(AccessMixin, ListView):
    """Every rig, in words and as shares of its baseline: no reading of any rig is on this page."""

    permission = Permission.RIG_READ
    template_name = "assessments/rig-list.html"
    section = "rigs"
    paginate_by = 50

    @property
    def session(self) -> Session | None:
        return sessions.current(centre=self.centre, at=self.now)

    def get_queryset(self) -> QuerySet[Rig]:
        return Rig.objects.visible_to(self.person).with_board(session=self.session).select_related("design")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        found = super().get_context_data(**context)
        rigs = list(found["page_obj"].object_list)
        load = rig_load.load(rigs=rigs, session=self.session)
        hold_percent = float(self.centre.hold_percent)
        rows = []
        for rig, state in board.rows(rigs=rigs, centre=self.centre, on=self.today):
            leading = state.leading if state else None
            line = charts.sparkline(leading, hold_percent=hold_percent) if leading else None
            rows.append((rig, state, leading, line, load.get(rig.pk, rig_load.Load())))
        return found | {"rows": rows, "alarms": board.alarm_rate(centre=self.centre)}


class RigCharts(AccessMixin, DetailView):
    """One rig's checks, drawn and in figures, its baselines side by side, and its attempts."""

    permission = Permission.RIG_READ
    template_name = "assessments/rig-charts.html"
    context_object_name = "rig"
    section = "rigs"

    def get_queryset(self) -> QuerySet[Rig]:
        found = Rig.objects.visible_to(self.person).with_board(session=None)
        return found.select_related("design", "centre")

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        rig, centre = self.object, self.object.centre
        state = board.states(rigs=[rig], centre=centre, on=self.today).get(rig.pk)
        levels = state.levels if state else ()
        wanted = self.request.GET.get("level")
        chosen = next((each for each in levels if str(each.series.measurand.pk) == wanted), None)
        chosen = chosen or (state.leading if state else None) or next(iter(levels), None)
        if levels:
            disclosure.note_seen(person=self.person, rig=rig, at=self.now)
        return super().get_context_data(
            levels=levels,
            chosen=chosen,
            chart=chosen
            and charts.level_chart(chosen, thresholds=series.thresholds_of(centre), zone=centre.zone),
            baselines=rig_charts.baselines_side_by_side(rig),
            **self._attempts(chosen),
            **context,
        )

    def _attempts(self, chosen: board.LevelState | None) -> dict[str, Any]:
        """What candidates did on the rig: for those who may read attempts."""
        if Permission.ATTEMPT_READ not in request_permissions(self.request):
            return {"beside": None, "attempts": None}
        attempts = Attempt.objects.visible_to(self.person).filter(rig=self.object)
        return {
            "beside": chosen and rig_charts.beside(chosen, rig=self.object, zone=self.object.centre.zone),
            "attempts": attempts.select_related("candidate", "version__task").with_decision()[
                :ATTEMPTS_SHOWN
            ],
        }
