"""`manage.py rates`: what a branch's days have taught of its rates; used only when told to."""

import json
from argparse import ArgumentParser
from dataclasses import asdict
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from dispatch.reads.learning import learnt_of
from jobs.access import PROGRAM
from jobs.models import Branch
from jobs.rules.learning import PRIOR_FLOORS, WHOLE_BRANCH, Learnt
from jobs.services.rates import LEARNT, use_learnt

NAMES = {"prepare": "Prepare", "coat": "Coat and scrape", "set": "Set", "pack": "Pack"}


class Command(BaseCommand):
    """Shows factors and the floors behind them; changes nothing by itself."""

    help = "Show what the stamps of past days teach about a branch's rates and set times."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """A branch, and whether to use or to leave what was learnt."""
        parser.add_argument("--branch", default="", help="the branch's short name (slug)")
        parser.add_argument("--apply", action="store_true", help="reckon with it from now on")
        parser.add_argument("--forget", action="store_true", help="go back to the branch's rates")
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Show; write only with --apply or --forget."""
        now = timezone.now()
        branch = Branch.objects.filter(slug=options["branch"]).first()
        if branch is None:
            known = ", ".join(Branch.objects.values_list("slug", flat=True)) or "none yet"
            raise CommandError(f"There is no branch {options['branch']!r}. There are: {known}.")
        if options["apply"] and options["forget"]:
            raise CommandError("Give --apply or --forget, not both.")
        found = learnt_of(branch, now=now)
        whole = found[WHOLE_BRANCH]
        if options["apply"] and not any(part.floors for part in whole.values()):
            raise CommandError("No floor has all its stamps yet, so there is nothing to use.")
        if options["apply"] or options["forget"]:
            factors = {} if options["forget"] else {k: v.factor for k, v in whole.items()}
            branch = use_learnt(branch_id=branch.pk, factors=factors, by=PROGRAM, now=now)
        if options["json"]:
            told = {
                "in_use": branch.rates.get(LEARNT, {}),
                "learnt": {
                    crew or "all crews": {part: asdict(each) for part, each in parts.items()}
                    for crew, parts in found.items()
                },
            }
            self.stdout.write(json.dumps(told, indent=2))
            return
        for crew, parts in found.items():
            self.stdout.write(crew or f"All crews of {branch}")
            for part, each in parts.items():
                self.stdout.write(f"  {_line(NAMES[part], each)}")
        in_use = "in use" if branch.rates.get(LEARNT) else "not in use; --apply uses those of all"
        self.stdout.write(f"The rates set count as {PRIOR_FLOORS} floors. Learnt rates: {in_use}.")


def _line(name: str, each: Learnt) -> str:
    out = f", {each.left_out} left out" if each.left_out else ""
    plural = "floor" if each.floors == 1 else "floors"
    if not each.floors:
        return f"{name:<16}as set, no floor behind it{out}"
    return f"{name:<16}{each.factor:.2f} of the hours set, {each.floors} {plural} behind it{out}"
