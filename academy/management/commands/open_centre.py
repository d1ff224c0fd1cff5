import os
from argparse import ArgumentParser
from getpass import getpass
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from academy import people
from academy.database import check_migrated
from academy.refusals import Refused


class Command(BaseCommand):
    help = (
        "Set up a centre with its first manager. The password is asked for, or read from MAKEPOINT_PASSWORD."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="the centre's name")
        parser.add_argument("--time-zone", required=True, help="where the centre is, such as Europe/London")
        parser.add_argument("--manager", required=True, metavar="NAME", help="the first manager's name")
        parser.add_argument("--email", required=True, help="the address that the manager signs in with")

    def handle(self, *_args: Any, **options: Any) -> None:
        check_migrated()
        try:
            manager = people.open_centre(
                name=options["name"],
                time_zone=options["time_zone"],
                manager_name=options["manager"],
                manager_email=options["email"],
                password=_password(),
                at=timezone.now(),
            )
        except Refused as refusal:
            raise CommandError(refusal.message) from refusal
        self.stdout.write(f"{manager.centre} is open. {manager.name} signs in with {manager.email}.")


def _password() -> str:
    given = os.environ.get("MAKEPOINT_PASSWORD")
    if given:
        return given
    try:
        first = getpass("Password for the manager: ")
        again = getpass("Once more: ")
    except (EOFError, KeyboardInterrupt) as error:
        raise CommandError("No password given: nothing was set up.") from error
    if first != again:
        raise CommandError("The two passwords differ: nothing was set up.")
    return first
