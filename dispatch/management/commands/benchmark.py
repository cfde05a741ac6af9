"""`manage.py benchmark offers`: measures a part of the program on an invented office."""

import json
import os
import subprocess
import sys
import tempfile
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from dispatch.benchmarks import offers

THROWAWAY = "SLABCAST_BENCHMARK_CHILD"


class Command(BaseCommand):
    help = (
        "Measures how long something takes on an invented office in a throwaway database. "
        "'offers' is the best days for a caller: the prepared arrays, the whole page, and a "
        "plain walk over the same calendar."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("subject", choices=["offers"], help="What is measured.")
        parser.add_argument("--crews", type=int, default=200, help="Crews of the branch.")
        parser.add_argument("--bookings", type=int, default=10_000, help="Bookings ahead.")
        parser.add_argument("--callers", type=int, default=60, help="How often it is asked.")
        parser.add_argument("--json", action="store_true", help="Print one line of JSON.")

    def handle(self, *_: Any, **options: Any) -> None:
        """Run in a database of its own, then print what was measured."""
        if os.environ.get(THROWAWAY) != "1":
            self.stdout.write(_in_throwaway(options), ending="")
            return
        size = offers.Size(
            crews=options["crews"], bookings=options["bookings"], callers=options["callers"]
        )
        answer = offers.run(size)
        told = [json.dumps(answer)] if options["json"] else offers.lines(answer)
        for line in told:
            self.stdout.write(line)


def _in_throwaway(options: dict[str, Any]) -> str:
    """What the same command prints on a new SQLite file that is deleted afterwards."""
    with tempfile.TemporaryDirectory(prefix="slabcast-benchmark-") as folder:
        kept = {name: v for name, v in os.environ.items() if not name.startswith("SLABCAST_")}
        environment = {
            **kept,
            THROWAWAY: "1",
            "SLABCAST_DEMO": "1",
            "SLABCAST_HOSTS": "testserver",
            "SLABCAST_STATE_DIR": folder,
            "SLABCAST_LOG_LEVEL": "ERROR",
            "PYTHONPATH": str(settings.BASE_DIR),
            "DJANGO_SETTINGS_MODULE": "deploy.settings",
        }
        words = [options["subject"], *(["--json"] * options["json"])]
        for name in ("crews", "bookings", "callers"):
            words += [f"--{name}", str(options[name])]
        _run(["migrate", "--verbosity", "0"], environment)
        return _run(["benchmark", *words], environment)


def _run(words: list[str], environment: dict[str, str]) -> str:
    done = subprocess.run(  # noqa: S603  our own program and numbers
        [sys.executable, "-m", "django", *words],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise CommandError(f"The benchmark failed: {done.stderr.strip()[-900:]}")
    return done.stdout
