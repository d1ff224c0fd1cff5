"""Load the invented centre and show it, or walk one assessment through it."""

import os
import socket
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.wsgi import get_wsgi_application
from django.utils import timezone
from waitress.server import create_server  # type: ignore[import-untyped]

from academy import background
from academy.refusals import Refused
from assessments.demo import loading, scenario
from assessments.demo.journey import Journey, Stopped
from assessments.demo.own_site import NoSite, own_site
from assessments.demo.scenario import Scenario

FIXTURES = settings.ROOT / "fixtures"
HOST = "127.0.0.1"
THREADS = 8


class Command(BaseCommand):
    help = "Load an invented centre with eight weeks of work, and serve it on this machine alone."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="where to serve it; 8000 if not given")
        parser.add_argument("--no-serve", action="store_true", help="load it and stop")
        parser.add_argument(
            "--fresh", action="store_true", help="start over: removes what the database holds of the demo"
        )
        parser.add_argument(
            "--journey",
            action="store_true",
            help="walk one assessment over HTTP, from signing in to the portfolio, in a database of its own",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        plan = scenario.read(FIXTURES / "demo.json")
        if options["journey"]:
            self.travel(plan)
            return
        listening = None if options["no_serve"] else listen(port=options["port"])
        try:
            self.load(plan, fresh=options["fresh"])
        except Refused as refusal:
            raise CommandError(refusal.message) from refusal
        if listening is not None:
            self.serve(plan, listening)

    def load(self, plan: Scenario, *, fresh: bool) -> None:
        call_command("migrate", interactive=False, verbosity=0)
        if fresh:
            loading.start_over(scenario=plan)
        added = loading.load(scenario=plan, fixtures=FIXTURES, at=timezone.now(), tell=self.tell)
        self.tell(f"{plan.centre} is {'loaded' if added else 'here already'}.")

    def serve(self, plan: Scenario, listening: socket.socket) -> None:
        listening.listen()  # who comes right after reading the address waits, and isn't turned away
        address = f"http://{HOST}:{listening.getsockname()[1]}"
        if "MAKEPOINT_ADDRESS" not in os.environ:
            settings.SITE_ADDRESS = address  # where links in emails and codes on documents lead
        self.tell(f"\n{address}/   (stop with Ctrl+C)")
        self.tell("")
        width = max(len(plan.email(each.person)) for each in plan.sign_ins)
        for each in plan.sign_ins:
            self.tell(f"  {plan.email(each.person):{width}}  {each.note}")
        self.tell(f"\nPassword of each: {plan.password}")
        background.start_worker()
        create_server(get_wsgi_application(), sockets=[listening], threads=THREADS).run()

    def travel(self, plan: Scenario) -> None:
        try:
            with own_site(manage=settings.ROOT / "manage.py", tell=self.tell) as address:
                journey = Journey(
                    address=address, scenario=plan, fixtures=FIXTURES, at=timezone.now(), tell=self.tell
                )
                portfolio = journey.travel()
        except (NoSite, Stopped) as trouble:
            raise CommandError(str(trouble)) from trouble
        self.tell(f"\nThe portfolio: {kept(portfolio)}")

    def tell(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def kept(portfolio: bytes) -> Path:
    """Keep the journey's PDF where the site keeps its data; the last one is replaced."""
    path: Path = settings.VAR / "journey" / "portfolio.pdf"
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(portfolio)
    return path


def listen(*, port: int) -> socket.socket:
    """Take the port before the work of loading. Starts the command again where HTTPS would be asked for."""
    if settings.HTTPS:
        # On this machine alone there is no certificate; settings are read before any command is.
        os.environ["MAKEPOINT_HTTPS"] = "0"
        os.execv(sys.executable, [sys.executable, *sys.orig_argv[1:]])  # noqa: S606  # nosec B606
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((HOST, port))
    except (OSError, OverflowError) as error:
        listening.close()
        raise CommandError(f"Port {port} can't be used: give another one with --port.") from error
    return listening
