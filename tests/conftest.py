"""What holds for every test. Settings are in tests/settings.py, strictness in pyproject.toml."""

import os

import pytest
from hypothesis import HealthCheck, settings

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
