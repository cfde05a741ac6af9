"""`manage.py large_company`: fills an empty installation with a large company's years."""

import json
import secrets
from datetime import timedelta
from time import monotonic
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from dispatch.benchmarks.company import Company, enter, open_branch, slots
from dispatch.services.opening import is_empty

DAYS_A_YEAR = 365


class Command(BaseCommand):
    """Invents; for measuring and for trying what a large company would see."""

    help = (
        "Fills an empty installation with an invented large company: branches, crews and years "
        "of floors that were coated, drawn from one seed and written through the services' bulk "
        "path. Migrate first."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """How large the company is."""
        usual = Company()
        for name, words in {
            "branches": "offices, each with its depot",
            "crews": "crews of two, over all branches",
            "years": "years gone by",
            "floors": "floors coated in them, over all branches",
            "seed": "another seed is another company",
        }.items():
            parser.add_argument(
                f"--{name}", type=int, default=getattr(usual, name), help=f"{words} (%(default)s)"
            )
        parser.add_argument("--json", action="store_true", help="Print one line of JSON.")

    def handle(self, *_: Any, **options: Any) -> None:
        """Branch after branch, saying how far it is."""
        company = Company(**{name: options[name] for name in vars(Company())})
        if not is_empty():
            raise CommandError("There is an office already. This fills an empty installation only.")
        if company.branches < 1 or company.crews < company.branches or company.years < 1:
            raise CommandError("A company has a branch, a crew in each and a year at least.")
        password, begun = secrets.token_urlsafe(12), monotonic()
        entered = 0
        for number in range(company.branches):
            entered += self._branch(company, number, password=password)
            if not options["json"]:
                self.stdout.write(f"Branch {number + 1}: {entered:,} floors so far")
        took_s = monotonic() - begun
        told = {**vars(company), "floors": entered, "took_s": round(took_s, 1)}
        told |= {"owner": "branch1", "password": password}
        lines = [json.dumps(told)] if options["json"] else [f"{k}: {v}" for k, v in told.items()]
        for line in lines:
            self.stdout.write(line)

    def _branch(self, company: Company, number: int, *, password: str) -> int:
        now = timezone.now()
        crews = company.share(number, of=company.crews)
        office = open_branch(number, crews=crews, password=password, now=now)
        today = office.branch.today(now)
        try:
            chosen = slots(
                office,
                since=today - timedelta(days=DAYS_A_YEAR * company.years),
                until=today,
                floors=company.share(number, of=company.floors),
                seed=company.seed,
            )
        except ValueError as trouble:
            raise CommandError(str(trouble)) from trouble
        return enter(office, chosen, seed=company.seed, now=now)
