"""What the project needs of the machine besides Python: found, installed where that is ours to do, or named.

Standard library only, so that it runs before the environment is whole. As a command it makes the named ones
ready: `python3 -m academy.machine venv pango poppler qpdf chromium postgresql`.
"""

import ctypes
import importlib.util
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

PANGO_LIBRARIES = (
    ("libpango-1.0.so.0", "libpango-1.0.dylib"),
    ("libpangoft2-1.0.so.0", "libpangoft2-1.0.dylib"),
    ("libharfbuzz.so.0", "libharfbuzz.0.dylib"),
    ("libharfbuzz-subset.so.0", "libharfbuzz-subset.0.dylib"),
)
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """Something that isn't Python's to install. `packages` are Debian's."""

    name: str
    purpose: str
    packages: tuple[str, ...]
    is_here: Callable[[], bool]

    @property
    def advice(self) -> str:
        debian = f"apt-get install {' '.join(self.packages)}"
        return f"{self.purpose} need {self.name}: install it (Debian: {debian})."


def chromium() -> str | None:
    """Return the browser's path."""
    return next(filter(None, map(shutil.which, CHROMIUM_NAMES)), None)


def postgresql() -> Path | None:
    """Return the folder of the newest PostgreSQL server's programs (initdb, pg_ctl, …)."""
    initdb = shutil.which("initdb")
    if initdb:
        return Path(initdb).resolve().parent
    debian = Path("/usr/lib/postgresql").glob("*/bin/initdb")
    return max((path.parent for path in debian), key=lambda folder: float(folder.parent.name), default=None)


def has_pango() -> bool:
    return all(any(map(_loads, names)) for names in PANGO_LIBRARIES)


def _loads(library: str) -> bool:
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


VENV = Need(
    name="venv",
    purpose="Python's environments",
    packages=("python3-venv",),
    is_here=lambda: importlib.util.find_spec("ensurepip") is not None,
)
PANGO = Need(
    name="Pango",
    purpose="PDF documents",
    packages=("libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz0b", "libharfbuzz-subset0"),
    is_here=has_pango,
)
CHROMIUM = Need(
    name="Chromium",
    purpose="The browser tests",
    packages=("chromium",),
    is_here=lambda: chromium() is not None,
)
POSTGRESQL = Need(
    name="PostgreSQL",
    purpose="The tests on PostgreSQL",
    packages=("postgresql",),
    is_here=lambda: postgresql() is not None,
)
POPPLER = Need(
    name="Poppler",
    purpose="The tests that read documents back by another's eyes",
    packages=("poppler-utils",),
    is_here=lambda: shutil.which("pdfdetach") is not None,
)
QPDF = Need(
    name="QPDF",
    purpose="The tests of how documents are built",
    packages=("qpdf",),
    is_here=lambda: shutil.which("qpdf") is not None,
)
NEEDS = {
    "venv": VENV,
    "pango": PANGO,
    "poppler": POPPLER,
    "qpdf": QPDF,
    "chromium": CHROMIUM,
    "postgresql": POSTGRESQL,
}


def make_ready(*, needs: tuple[Need, ...]) -> tuple[Need, ...]:
    """Install those that are missing, as root on Debian. Return those still missing."""
    missing = tuple(need for need in needs if not need.is_here())
    if missing and os.geteuid() == 0 and shutil.which("apt-get"):
        _apt_get_install(packages=tuple(package for need in missing for package in need.packages))
    return tuple(need for need in missing if not need.is_here())


def _apt_get_install(*, packages: tuple[str, ...]) -> None:
    print(f"Installing {' '.join(packages)} …", file=sys.stderr, flush=True)
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for arguments in (("update",), ("install", "--yes", "--no-install-recommends", *packages)):
        # What it says is of use only when it fails, and then the last line says why.
        done = subprocess.run(
            ("apt-get", "--quiet", *arguments),
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
        )
        if done.returncode:
            print(f"apt-get {arguments[0]}: {done.stdout.strip().rpartition(chr(10))[2]}", file=sys.stderr)


def main(*, names: list[str]) -> int:
    unknown = [name for name in names if name not in NEEDS]
    if unknown or not names:
        print(f"Name one or more of: {', '.join(NEEDS)}.", file=sys.stderr)
        return 2
    missing = make_ready(needs=tuple(NEEDS[name] for name in names))
    for need in missing:
        print(need.advice, file=sys.stderr)
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main(names=sys.argv[1:]))
