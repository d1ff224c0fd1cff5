"""What holds from one day to another."""

from datetime import date
from typing import Self, TypeVar

from django.db import models
from django.db.models import Q

Row = TypeVar("Row", bound=models.Model)


class DatedQuerySet(models.QuerySet[Row]):
    """Rows with ``starts_on`` and ``ends_on``, which is empty while no last day is known."""

    def in_force(self, *, on: date) -> Self:
        """Those that count on that day: first and last day included."""
        return self.filter(Q(ends_on=None) | Q(ends_on__gte=on), starts_on__lte=on)
