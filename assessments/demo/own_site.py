"""A site of its own for the journey: another process with an empty database in a folder that is removed."""

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

Tell = Callable[[str], None]
FULL_STOP_SECONDS = 20
OWN_SETTINGS = ("MAKEPOINT_", "DATABASE_URL", "DJANGO_SETTINGS_MODULE")


class NoSite(Exception):
    """The site didn't come up. The message is the last line that it had to say."""


@contextmanager
def own_site(*, manage: Path, tell: Tell) -> Iterator[str]:
    """Load and serve the demo afresh. Yields its address; NoSite when it doesn't come up."""
    with tempfile.TemporaryDirectory(prefix="makepoint-journey-") as var:
        command = [sys.executable, str(manage), "demo", "--port", "0"]
        site = subprocess.Popen(  # noqa: S603 - this program itself
            command,
            cwd=manage.parent,
            env=environment(var=var),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        try:
            yield _address(site, tell)
        finally:
            site.terminate()
            site.communicate(timeout=FULL_STOP_SECONDS)


def environment(*, var: str) -> dict[str, str]:
    """The environment less any settings of a site, with data in ``var``."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(OWN_SETTINGS)}
    return kept | {"MAKEPOINT_VAR": var, "MAKEPOINT_HTTPS": "0", "PYTHONUNBUFFERED": "1"}


def _address(site: "subprocess.Popen[str]", tell: Tell) -> str:
    assert site.stdout is not None
    said = ""
    for line in site.stdout:
        said = line.strip() or said
        if said.startswith("http://"):
            return said.split()[0]
        if line.strip():
            tell(said)
    raise NoSite(said or "The site ended without a word.")
