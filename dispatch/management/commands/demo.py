"""`manage.py demo`: an invented contractor in an empty database, and how to get in."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from dispatch.demo.build import build
from dispatch.demo.showing import shown
from jobs.refusals import Refusal


class Command(BaseCommand):
    """Builds the demo once, or says how to get into it."""

    help = "Build an invented contractor in an empty database, or show how to get in (--show)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """`--show` changes nothing."""
        parser.add_argument("--show", action="store_true", help="print sign-ins and addresses")
        parser.add_argument("--url", default="", help="where the site answers, if not SITE_URL")

    def handle(self, *args: Any, **options: Any) -> None:
        """Build or show; fails with a sentence."""
        now = timezone.now()
        try:
            if options["show"]:
                self.stdout.write(shown(now=now, url=options["url"]))
                return
            self._refuse_real_offices()
            build(now=now)
        except Refusal as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stdout.write("The invented office stands; `manage.py demo --show` says how to get in.")

    def _refuse_real_offices(self) -> None:
        """Everybody can read the demo's passphrase, so it never goes where real work is done."""
        if not settings.DEMO:
            raise CommandError(
                "The demo's passphrase is public. Set SLABCAST_DEMO=1 to build it all the same."
            )
        if settings.FORECASTS != "replay":
            raise CommandError("The demo plays invented weather: set SLABCAST_FORECASTS=replay.")
