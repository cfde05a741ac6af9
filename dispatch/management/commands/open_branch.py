"""The first step on an empty installation: a branch with owner, systems, crews and grinders."""

import getpass
import sys
from argparse import ArgumentParser
from datetime import datetime
from typing import Any

from django.contrib.auth.hashers import make_password
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from dispatch.models import MachineKind
from dispatch.services import crews
from jobs.access import PROGRAM
from jobs.models import Branch
from jobs.refusals import Refusal
from jobs.services.branches import NewBranch, check_owner, open_branch
from weather.places import NoSuchPlace, find_postal_code
from weather.services import place_for


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
            branch = self._open(options)
        except (Refusal, NoSuchPlace) as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(
            f"{branch.company}, {branch.name} is open. {options['owner']} can sign in and take in "
            "the first floor. Check every card against the data sheet in use before booking."
        )

    def _open(self, options: dict[str, Any]) -> Branch:
        now = timezone.now()
        spot = self._spot(options)
        staff = [self._crew(text) for text in options["crew"]]
        password = self._password(options["owner"])
        check_owner(username=options["owner"], password=password)
        branch = open_branch(
            new=NewBranch(
                company=options["company"],
                name=options["name"],
                depot=options["depot"],
                country=options["country"].upper(),
                telephone=options["telephone"],
                email=options["email"],
                units=options["units"],
            ),
            place=place_for(**spot, name=options["name"]),
            owner=options["owner"],
            hashed_password=make_password(password),
            by=PROGRAM,
            now=now,
        )
        for name, people in staff:
            self._staff(branch, name, people, now=now)
        for number in range(1, options["grinders"] + 1):
            crews.add_machine(
                branch=branch,
                kind=MachineKind.GRINDER,
                name=f"Grinder {number}",
                by=PROGRAM,
                now=now,
            )
        return branch

    def _staff(self, branch: Branch, name: str, people: list[str], *, now: datetime) -> None:
        crew = crews.add_crew(branch=branch, name=name, by=PROGRAM, now=now)
        for person in people:
            one = crews.add_installer(branch=branch, name=person, by=PROGRAM, now=now)
            crews.join_crew(
                branch=branch,
                crew_id=crew.pk,
                installer_id=one.pk,
                from_day=branch.today(now),
                by=PROGRAM,
                now=now,
            )

    def _spot(self, options: dict[str, Any]) -> dict[str, Any]:
        if options["postal_code"]:
            found = find_postal_code(options["postal_code"])
            return {
                "latitude": found.latitude,
                "longitude": found.longitude,
                "zone": found.zone,
            }
        by_hand = {name: options[name] for name in ("latitude", "longitude", "zone")}
        if not all(by_hand.values()):
            raise CommandError(
                "Give --postal-code for a US depot, or --latitude, --longitude and --zone."
            )
        return by_hand

    def _crew(self, text: str) -> tuple[str, list[str]]:
        name, colon, people = text.partition(":")
        names = [person.strip() for person in people.split(",") if person.strip()]
        if not name.strip() or not colon or not names:
            raise CommandError(f'A crew is written "North: Ana Ruiz, Ben Cole", not {text!r}.')
        return name.strip(), names

    def _password(self, owner: str) -> str:
        if sys.stdin.isatty():
            return getpass.getpass(f"Password for {owner}: ")
        return sys.stdin.readline().rstrip("\n")
