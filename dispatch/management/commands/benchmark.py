"""`manage.py benchmark NAME`: measures a part of the program on an invented office."""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from dispatch.benchmarks.subjects import SUBJECTS

THROWAWAY = "SLABCAST_BENCHMARK_CHILD"
NUMBERS = sorted({name for subject in SUBJECTS.values() for name in subject.numbers()})


class Command(BaseCommand):
    """Makes a database of its own, measures in it and throws it away."""

    help = (
        "Measures how long something takes on an invented office in a throwaway database, "
        "beside a plain way of doing the same. "
        + " ".join(f"'{name}': {subject.words}." for name, subject in SUBJECTS.items())
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """What is measured, and how large; a size left out is the subject's own."""
        parser.add_argument("subject", choices=list(SUBJECTS), help="What is measured.")
        parser.add_argument("--json", action="store_true", help="Print one line of JSON.")
        for name in NUMBERS:
            usual = {
                key: subject.numbers()[name]
                for key, subject in SUBJECTS.items()
                if name in subject.numbers()
            }
            told = ", ".join(f"{key}: {number:,}" for key, number in usual.items())
            parser.add_argument(f"--{name.replace('_', '-')}", type=int, help=f"({told})")

    def handle(self, *_: Any, **options: Any) -> None:
        """Run in a database of its own, then print what was measured."""
        subject = SUBJECTS[options["subject"]]
        given = {name: options[name] for name in NUMBERS if options[name] is not None}
        strange = ", ".join(sorted(set(given) - set(subject.numbers())))
        if strange:
            raise CommandError(f"{options['subject']} has no size called {strange}.")
        if os.environ.get(THROWAWAY) == "1":
            self.stdout.write(json.dumps(subject.run(subject.size(**given))))
            return
        told = _in_throwaway(options["subject"], given)
        for line in [told] if options["json"] else _lines(json.loads(told)):
            self.stdout.write(line)


def _lines(answer: dict[str, Any], before: str = "") -> Iterator[str]:
    """The same for people, one figure a line."""
    for name, value in answer.items():
        if isinstance(value, dict):
            yield from _lines(value, f"{before}{name}.")
        else:
            yield f"{before}{name}: {value}"


def _in_throwaway(subject: str, given: dict[str, int]) -> str:
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
        words = [f"--{name.replace('_', '-')}={number}" for name, number in given.items()]
        _run(["migrate", "--verbosity", "0"], environment)
        return _run(["benchmark", subject, *words], environment).strip()


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
