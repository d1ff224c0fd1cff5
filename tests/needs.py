"""What a machine may lack: a test that needs it is skipped with advice, but fails where CI counts on it."""

import os

import pytest

from academy.machine import Need


def require(*, need: Need) -> None:
    if need.is_here():
        return
    if os.environ.get("CI"):
        pytest.fail(need.advice)
    pytest.skip(need.advice)
