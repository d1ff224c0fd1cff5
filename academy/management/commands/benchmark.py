"""Measure the site beside what it can't do without, and print ratios: times by themselves say little."""

import importlib
import subprocess
import sys
import tempfile
from argparse import SUPPRESS, ArgumentParser, ArgumentTypeError
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from academy.management.commands.test import clean_environment


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A benchmark: what it measures, and of what so many are made for it if nobody says otherwise."""

    what: str
    of: str
    count: int


BENCHMARKS = {
    "marking": Measured(
        what="the columns in memory, and marking many attempts again", of="readings", count=1_000_000
    ),
    "portfolio": Measured(
        what="issuing a portfolio, beside typesetting its pages alone", of="attempts", count=100
    ),
    "pages": Measured(
        what="every page, with a thousand attempts on record and with many", of="attempts", count=100_000
    ),
}


class Command(BaseCommand):
    help = "Measure how fast the site is beside what it can't do without, in a database of its own."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        benchmarks = parser.add_subparsers(dest="benchmark", required=True, metavar="benchmark")
        for name, measured in BENCHMARKS.items():
            of, count = measured.of, measured.count
            benchmark = benchmarks.add_parser(name, help=measured.what)
            benchmark.add_argument(
                f"--{of}", type=several, dest="count", default=count, help=f"how many; {count:,} if not given"
            )
            benchmark.add_argument("--here", action="store_true", help=SUPPRESS)

    def handle(self, *_args: Any, **options: Any) -> None:
        if not (settings.ROOT / "tests" / "benchmarks").is_dir():
            raise CommandError("The benchmarks come with the project's source: run them in a checkout of it.")
        name = options["benchmark"]
        if options["here"]:
            call_command("migrate", interactive=False, verbosity=0)
            benchmark = importlib.import_module(f"tests.benchmarks.{name}")
            benchmark.run(count=options["count"], tell=self.tell)
            return
        with tempfile.TemporaryDirectory(prefix="makepoint-benchmark-") as var:
            self.run_apart(name, f"--{BENCHMARKS[name].of}", str(options["count"]), var=var)

    def run_apart(self, *arguments: str, var: str) -> None:
        """Run it in another process, so that neither the site's data nor what it has in memory matters."""
        environment = clean_environment(var=var)
        environment.pop("DATABASE_URL", None)
        command = [sys.executable, str(settings.ROOT / "manage.py"), "benchmark", *arguments, "--here"]
        self.stdout.flush()
        done = subprocess.run(command, env=environment, stdin=subprocess.DEVNULL, check=False)  # noqa: S603
        if done.returncode:
            raise CommandError("The benchmark stopped before its end.", returncode=done.returncode)

    def tell(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def several(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise ArgumentTypeError(f"“{text}” is not a number: give a whole number above 0.")
    return int(text)
