"""The first step on an empty installation: a branch with owner, systems, crews and grinders."""

import getpass
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from dispatch.services.opening import NewOffice, open_office, read_crew, spot_of
from jobs.access import PROGRAM
from jobs.refusals import Refusal
from jobs.services.branches import NewBranch


class Command(BaseCommand):
    """Open a branch. The password is asked for, or read from standard input."""

    help = (
        "Open a branch with its owner, the catalogue's coating systems, public holidays, crews "
        "and grinders. The owner's password is asked for, or read as one line from a pipe."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--company", required=True)
        parser.add_argument("--name", required=True, help="the branch, such as its town")
        parser.add_argument("--depot", required=True, help="street and town of the depot")
        parser.add_argument("--postal-code", help="US postal code of the depot")
        parser.add_argument("--latitude", help="elsewhere: latitude, longitude and time zone")
        parser.add_argument("--longitude")
        parser.add_argument("--zone", help="such as Europe/Oslo")
        parser.add_argument("--country", default="US", help="two letters, for the holidays")
        parser.add_argument("--units", choices=["us", "metric"], default="us")
        parser.add_argument("--telephone", default="")
        parser.add_argument("--email", default="")
        parser.add_argument("--owner", required=True, help="the owner's sign-in")
        parser.add_argument(
            "--crew", action="append", default=[], help='such as "North: Ana Ruiz, Ben Cole"'
        )
        parser.add_argument("--grinders", type=int, default=1)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            office = self._office(options)
            branch = open_office(office, by=PROGRAM, now=timezone.now(), only_first=False)
        except Refusal as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(
            f"{branch.company}, {branch.name} is open. {options['owner']} can sign in and take in "
            "the first floor. Check every card against the data sheet in use before booking."
        )

    def _office(self, options: dict[str, Any]) -> NewOffice:
        where = ("postal_code", "latitude", "longitude", "zone")
        spot = spot_of(**{name: options[name] or "" for name in where})
        return NewOffice(
            branch=NewBranch(
                company=options["company"],
                name=options["name"],
                depot=options["depot"],
                country=options["country"].upper(),
                telephone=options["telephone"],
                email=options["email"],
                units=options["units"],
            ),
            spot=spot,
            owner=options["owner"],
            password=self._password(options["owner"]),
            crews=tuple(read_crew(text) for text in options["crew"]),
            grinders=options["grinders"],
        )

    def _password(self, owner: str) -> str:
        if sys.stdin.isatty():
            return getpass.getpass(f"Password for {owner}: ")
        return sys.stdin.readline().rstrip("\n")
