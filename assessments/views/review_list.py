"""What waits for a decision, in the order in which to look at it, and what is decided."""

from typing import Any

from django.db.models import QuerySet
from django.utils.functional import cached_property
from django.views.generic import ListView

from academy.access import AccessMixin, request_permissions
from academy.permissions import Permission
from assessments import countersigning, queue
from assessments.models import Attempt
from assessments.models.attempts import AttemptStatus
from assessments.review_forms import QueueForm
from assessments.risks import SAYS, WEIGHTS
from assessments.views import review_order


class ReviewList(AccessMixin, ListView):
    """Attempts waiting, by risk and age; or those signed off, the newest first."""

    permission = Permission.ATTEMPT_READ
    template_name = "assessments/review-list.html"
    context_object_name = "attempts"
    section = "review"
    paginate_by = 40

    @property
    def show(self) -> str:
        return "decided" if self.request.GET.get("show") == "decided" else "waiting"

    @cached_property
    def form(self) -> QueueForm:
        offered = queue.offered(assessor=self.person, on=self.today)
        return QueueForm(self.request.GET, offered=offered)

    @cached_property
    def waiting(self) -> queue.Queue:
        return queue.of_assessor(
            assessor=self.person, centre=self.centre, at=self.now, filters=self.form.filters
        )

    def get_queryset(self) -> QuerySet[Attempt] | tuple[queue.Waiting, ...]:
        if self.show == "waiting":
            review_order.keep(self.request, self.waiting.waiting)
            return self.waiting.waiting
        return (
            Attempt.objects.visible_to(self.person)
            .filter(status=AttemptStatus.SIGNED_OFF)
            .order_by("-submitted_at")
            .with_decision()
            .select_related("candidate", "rig", "version__task")
        )

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        if self.show == "waiting":
            context |= {
                "queue": self.waiting,
                "form": self.form,
                "is_filtered": self.form.filters != queue.EVERYTHING,
                "weights": [(SAYS[reason], weight) for reason, weight in WEIGHTS.items()],
            }
        return super().get_context_data(show=self.show, to_countersign=self._to_countersign(), **context)

    def _to_countersign(self) -> int:
        if Permission.ATTEMPT_DECIDE not in request_permissions(self.request):
            return 0
        return countersigning.waiting(person=self.person, at=self.now).count()
