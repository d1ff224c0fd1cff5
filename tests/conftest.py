"""What holds for every test. Settings are in tests/settings.py, strictness in pyproject.toml."""

import os
from collections.abc import Iterator

import pytest
from django.db import connection
from hypothesis import HealthCheck, settings
from pytest_django import DjangoDbBlocker

from academy import machine
from tests.needs import require

# A slow machine fails nothing. With CI set the examples are the same each time: luck stops nobody.
settings.register_profile(
    "makepoint",
    deadline=None,
    derandomize=bool(os.environ.get("CI")),
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("makepoint")


@pytest.fixture(scope="session")
def pango() -> None:
    """What a test that makes a PDF asks for."""
    require(need=machine.PANGO)


@pytest.fixture(scope="session")
def poppler(pango: None) -> None:
    require(need=machine.POPPLER)


@pytest.fixture(scope="session")
def qpdf(pango: None) -> None:
    require(need=machine.QPDF)


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """The test database, let go by every connection before it is dropped.

    A live server's thread lasts as long as the browser keeps its connection open, which can be longer than
    the tests, and PostgreSQL drops no database that anybody else is connected to.
    """
    yield
    if connection.vendor == "postgresql":
        with django_db_blocker.unblock(), connection.cursor() as cursor:
            cursor.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )
