"""The strictness that every other test leans on."""

import socket
import subprocess
import sysconfig
from pathlib import Path

import pytest
from django.template import engines
from pytest_socket import SocketConnectBlockedError

from tests.settings import UndefinedVariable

ROOT = Path(__file__).resolve().parents[2]
RUFF = Path(sysconfig.get_path("scripts")) / "ruff"


def test_an_undefined_template_variable_fails() -> None:
    template = engines["django"].from_string("{{ reading.unit }}")
    with pytest.raises(UndefinedVariable, match=r"reading\.unit"):
        template.render({"reading": object()})


def test_a_template_may_still_ask_whether_a_variable_is_there() -> None:
    template = engines["django"].from_string("{% if reading %}yes{% else %}no{% endif %}")
    assert template.render({}) == "no"


def test_no_test_reaches_another_machine() -> None:
    with pytest.warns(UserWarning, match="A test tried"), pytest.raises(SocketConnectBlockedError):
        socket.create_connection(("192.0.2.1", 80))  # RFC 5737: an address for documentation


def banned_in(path: str, code: str) -> bool:
    done = subprocess.run(
        [
            RUFF,
            "check",
            "--select",
            "TID251",
            "--stdin-filename",
            path,
            "-",
        ],
        cwd=ROOT,
        input=code,
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode == 1


@pytest.mark.parametrize(
    "code",
    [
        "from datetime import datetime, UTC\n\nnow = datetime.now(tz=UTC)\n",
        "from datetime import date\n\ntoday = date.today()\n",
        "from django.utils import timezone\n\nnow = timezone.now()\n",
        "from time import time\n\nnow = time()\n",
        "import random\n\nchance = random.random()\n",
    ],
    ids=["datetime", "date", "timezone", "time", "random"],
)
@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("rigs/checks.py", True),
        ("rigs/metrology/today.py", True),
        ("assessments/models/attempts.py", True),
        ("rigs/views/checks.py", False),
        ("assessments/management/commands/demo.py", False),
    ],
)
def test_only_views_and_commands_read_the_clock(path: str, expected: bool, code: str) -> None:
    assert banned_in(path, code) is expected
