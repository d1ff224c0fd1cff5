"""The ledger's rows, which are only ever added to."""

from collections.abc import Iterable
from typing import Any, NoReturn

from django.db import models
from django.db.models import Q

from academy.models.centres import Centre


class AppendOnlyError(TypeError):
    """An entry of the ledger was about to be changed or deleted: a correction is a new entry."""

    def __init__(self) -> None:
        super().__init__("The ledger only grows: append a new entry instead.")


class LedgerEntryQuerySet(models.QuerySet["LedgerEntry"]):
    def update(self, **_fields: object) -> NoReturn:
        raise AppendOnlyError

    def delete(self) -> NoReturn:
        raise AppendOnlyError

    def bulk_update(self, *_args: object, **_options: object) -> NoReturn:
        raise AppendOnlyError

    def bulk_create(self, objs: Iterable["LedgerEntry"], *args: Any, **options: Any) -> list["LedgerEntry"]:
        if options.get("update_conflicts") or options.get("ignore_conflicts"):
            raise AppendOnlyError
        return super().bulk_create(objs, *args, **options)


class LedgerEntry(models.Model):
    """One link of a centre's chain. Written by `ledger.append` alone, which documents the format."""

    centre = models.ForeignKey(Centre, on_delete=models.PROTECT, related_name="ledger_entries")
    number = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    actor = models.UUIDField(null=True)
    verb = models.CharField(max_length=80)
    subject = models.CharField(max_length=80)
    body = models.TextField()
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    objects = LedgerEntryQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "ledger entries"
        ordering = ["centre", "number"]
        base_manager_name = "objects"
        constraints = [
            models.UniqueConstraint(
                name="ledger_number_is_unique_in_its_centre", fields=["centre", "number"]
            ),
            models.CheckConstraint(name="ledger_number_starts_at_one", condition=Q(number__gte=1)),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.verb} {self.subject}"

    def save(self, **options: Any) -> None:
        if not self._state.adding:
            raise AppendOnlyError
        # Without it a given key would be looked for first, and updated where found.
        super().save(**options | {"force_insert": True})

    def delete(self, *_args: object, **_options: object) -> NoReturn:
        raise AppendOnlyError
