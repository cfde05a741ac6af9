"""`manage.py called`: what fell against what was called, for one branch."""

import json
from argparse import ArgumentParser
from dataclasses import asdict
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from dispatch.reads.called import Called, called
from jobs.models import Branch


class Command(BaseCommand):
    """Prints misses and false alarms by exposure and lead, and a suggestion nobody applies."""

    help = "What fell against what was called: misses, false alarms, a suggestion."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The branch; lines or JSON."""
        parser.add_argument("--branch", required=True, help="the branch's short name (slug)")
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """An unknown branch is refused by name."""
        branch = Branch.objects.filter(slug=options["branch"]).first()
        if branch is None:
            known = ", ".join(Branch.objects.values_list("slug", flat=True)) or "none yet"
            raise CommandError(f"There is no branch {options['branch']!r}. There are: {known}.")
        found = called(branch, now=timezone.now())
        if options["json"]:
            self.stdout.write(json.dumps(_plain(found), indent=2))
            return
        for row in found.tallies:
            self.stdout.write(
                f"{row.exposure}, {row.lead}: {row.hits} right alarms, {row.misses} misses, "
                f"{row.false_alarms} false alarms, {row.right} right, {row.unknown} unknown"
            )
        if not found.tallies:
            self.stdout.write("No open or roofed floor of the last weeks has been judged yet.")
        self.stdout.write(found.suggestion.sentence)


def _plain(found: Called) -> dict[str, Any]:
    return {
        "since": found.since.isoformat(),
        "tallies": [asdict(row) for row in found.tallies],
        "bands": [{**asdict(band), "share": band.share} for band in found.bands],
        "suggestion": asdict(found.suggestion),
        "cases": [{**asdict(case), "day": case.day.isoformat()} for case in found.cases],
    }
