"""The work loop: forecasts, verdicts, notices and lapsing holds, without a broker."""

import logging
import signal
import threading
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError, close_old_connections
from django.utils import timezone

from dispatch.services.round import go_round

log = logging.getLogger(__name__)


class Command(BaseCommand):
    """Do what is due, again and again, until told to stop."""

    help = "Refresh forecasts, judge open bookings, send notices and lapse holds, in a loop."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--once", action="store_true", help="one round, then stop")
        parser.add_argument("--every", type=int, default=10, help="seconds between rounds")

    def handle(self, *args: Any, **options: Any) -> None:
        stop = threading.Event()
        for name in (signal.SIGTERM, signal.SIGINT):
            signal.signal(name, lambda *_: stop.set())
        while not stop.is_set():
            self._round()
            if options["once"]:
                return
            stop.wait(options["every"])

    def _round(self) -> None:
        close_old_connections()
        try:
            done = go_round(now=timezone.now())
        except DatabaseError:
            # The loop outlives a database that is away; what is due stays due.
            log.exception("The database did not answer; trying again in the next round.")
            return
        if any(vars(done).values()):
            self.stdout.write(
                f"{done.refreshed} forecasts, {done.judged} verdicts, "
                f"{done.sent} notices, {done.lapsed} holds lapsed, {done.planned} plans"
            )
