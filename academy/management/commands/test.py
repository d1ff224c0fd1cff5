"""Run every check that a change must pass, the tests among them."""

import os
import subprocess
import sys
import sysconfig
import tempfile
import time
from argparse import ArgumentParser
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

PACKAGES = ("academy", "assessments", "rigs")
SCRIPTS = Path(sysconfig.get_path("scripts"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One program, run at the root of the project. It passes when its exit code is 0."""

    name: str
    command: tuple[str | Path, ...]
    on_templates: bool = False  # is given the paths of all templates
    is_shown: bool = False  # its output is worth seeing when it passes, too


CHECKS = (
    Check(name="ruff", command=(SCRIPTS / "ruff", "check")),
    Check(name="ruff-format", command=(SCRIPTS / "ruff", "format", "--check")),
    Check(name="import-linter", command=(SCRIPTS / "lint-imports", "--no-logo")),
    Check(name="mypy", command=(SCRIPTS / "mypy",)),
    Check(
        name="djade",
        command=(SCRIPTS / "djade", "--check", "--target-version", "5.2"),
        on_templates=True,
    ),
    Check(name="djhtml", command=(SCRIPTS / "djhtml", "--check", "--tabwidth", "2"), on_templates=True),
    Check(
        name="bandit",
        command=(SCRIPTS / "bandit", "--quiet", "--configfile", "pyproject.toml", "--recursive", *PACKAGES),
    ),
    Check(name="migrations", command=(sys.executable, "manage.py", "makemigrations", "--check")),
    Check(
        name="deploy",
        command=(sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"),
    ),
    # A module stays with one worker: some load the demo once for all their tests.
    Check(
        name="pytest",
        command=(sys.executable, "-m", "pytest", "--numprocesses=auto", "--dist=loadscope"),
        is_shown=True,
    ),
)
NAMES = tuple(check.name for check in CHECKS)


class Command(BaseCommand):
    help = "Run every check, or those named. What follows -- is handed to pytest."
    requires_system_checks = ()
    pytest_arguments: tuple[str, ...] = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("names", nargs="*", metavar="check", help=f"any of {', '.join(NAMES)}")

    def run_from_argv(self, argv: list[str]) -> None:
        own = argv[: argv.index("--")] if "--" in argv else argv
        self.pytest_arguments = tuple(argv[len(own) + 1 :])
        super().run_from_argv(own)

    def handle(self, *_args: Any, **options: Any) -> None:
        unknown = [name for name in options["names"] if name not in NAMES]
        if unknown:
            raise CommandError(f"There is no check “{unknown[0]}”. The checks are: {', '.join(NAMES)}.")
        started = time.perf_counter()
        chosen = [check for check in CHECKS if check.name in (options["names"] or NAMES)]
        with tempfile.TemporaryDirectory(prefix="makepoint-checks-") as var:
            environment = clean_environment(var=var)
            failed = [check.name for check in chosen if not self.passes(check, environment=environment)]
        took = f"in {time.perf_counter() - started:.0f} s"
        if failed:
            self.stderr.write(f"{len(failed)} of {len(chosen)} checks failed {took}: {', '.join(failed)}.")
            sys.exit(1)
        self.stdout.write(f"All {len(chosen)} checks passed {took}.")

    def passes(self, check: Check, *, environment: Mapping[str, str]) -> bool:
        self.stdout.write(f"{check.name:<14}", ending="\n" if check.is_shown else "")
        self.stdout.flush()
        started = time.perf_counter()
        done = subprocess.run(
            [*check.command, *self.arguments(check)],
            cwd=settings.ROOT,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=None if check.is_shown else subprocess.PIPE,
            stderr=None if check.is_shown else subprocess.STDOUT,
            text=True,
            check=False,
        )
        took = f"{time.perf_counter() - started:5.1f} s"
        if check.is_shown:
            self.stdout.write(f"{check.name:<14}", ending="")
        self.stdout.write(f"{'FAILED' if done.returncode else 'passed'} {took}")
        if done.returncode and not check.is_shown:
            self.stdout.write(done.stdout)
        return done.returncode == 0

    def arguments(self, check: Check) -> tuple[str, ...]:
        if check.on_templates:
            folders = [settings.ROOT / package for package in PACKAGES]
            return tuple(str(path) for folder in folders for path in sorted(folder.rglob("*.html")))
        if check.name != "pytest":
            return ()
        # A few tests run sooner in one process than it takes to start more.
        return self.pytest_arguments or ("--numprocesses=auto", "--maxprocesses=4")


def clean_environment(*, var: str) -> dict[str, str]:
    """Return the environment less the site's own settings: the defaults are checked, with data in `var`."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if name != "DJANGO_SETTINGS_MODULE" and not name.startswith("MAKEPOINT_")
    }
    return kept | {"MAKEPOINT_VAR": var}
