"""Whether the database is ready for a command to work with."""

from django.core.management.base import CommandError
from django.db import connection
from django.db.migrations.executor import MigrationExecutor


def check_migrated() -> None:
    """Raise CommandError, in one line, where tables are missing or older than this version."""
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        raise CommandError("The database isn’t ready for this version: run “manage.py migrate” first.")
