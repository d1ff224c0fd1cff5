"""What is known of the rigs on the bench, looked at for one purpose: that no virtual rig is like one."""

from collections import defaultdict
from collections.abc import Iterable
from typing import Final

from django.db.models import OuterRef, Subquery

from academy.models import Centre
from assessments.virtual_rigs import RealFigures
from rigs.models import BaselineValue, Rig, SheetValue, ValueSheet
from rigs.models.baselines import BaselineStatus

FIELDS: Final = {
    ("taps", "fan-running"): "running",
    ("make-point", "hand-pump"): "make",
    ("break-point", "hand-pump"): "break_",
}


def real_figures(*, centre: Centre) -> list[RealFigures]:
    """Each rig's figures, by every approved baseline of it and by its newest value sheet. Two queries."""
    newest = ValueSheet.objects.filter(rig=OuterRef("pk")).order_by("-made_at").values("pk")[:1]
    rigs = Rig.objects.in_use().filter(centre=centre)
    read_at = {
        "measurand__test_point__slug__in": [point for point, _ in FIELDS],
        "measurand__condition__slug__in": [condition for _, condition in FIELDS],
    }
    which = ("measurand__test_point__slug", "measurand__condition__slug")
    baselines = BaselineValue.objects.filter(
        baseline__rig__in=rigs, baseline__status=BaselineStatus.APPROVED, mean__isnull=False, **read_at
    ).values_list("baseline_id", *which, "mean")
    sheets = SheetValue.objects.filter(
        sheet__in=rigs.annotate(newest=Subquery(newest)).values("newest"), value__isnull=False, **read_at
    ).values_list("sheet_id", *which, "value")
    return [*_gathered(baselines), *_gathered(sheets)]


def _gathered(rows: Iterable[tuple[object, str, str, float | None]]) -> Iterable[RealFigures]:
    found: dict[object, dict[str, float | None]] = defaultdict(dict)
    for key, point, condition, value in rows:
        if (point, condition) in FIELDS:
            found[key][FIELDS[point, condition]] = value
    return [RealFigures(**figures) for figures in found.values()]
