"""`manage.py plan`: work out a branch's plan, store it, print it, and on demand make it so."""

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from dispatch.models import StoredPlan
from dispatch.reads.plan_told import plan_told
from dispatch.services.applying_plans import Applied
from dispatch.services.planning import apply_plan, ask_plan, make_plan
from jobs.access import PROGRAM
from jobs.models import Branch


class Command(BaseCommand):
    """Plans all waiting floors and all bookings that may move."""

    help = "Plan a branch's waiting floors and movable bookings; store the plan and print it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The branch, the horizon, and whether the plan is made so."""
        parser.add_argument("--branch", required=True, help="the branch's short name (slug)")
        parser.add_argument("--days", type=int, default=28, help="how far ahead, from today (7-60)")
        parser.add_argument("--json", action="store_true", help="print JSON")
        parser.add_argument("--apply", action="store_true", help="book and move as planned")
        parser.add_argument("--ring", type=int, default=0, help="with --apply: most to ring")

    def handle(self, *args: Any, **options: Any) -> None:
        """Plan now; an unknown branch is refused by name."""
        branch = _branch(options["branch"])
        if not 7 <= options["days"] <= 60:
            raise CommandError("--days must be from 7 to 60.")
        now = timezone.now()
        plan = ask_plan(branch=branch, by=PROGRAM, now=now, days=options["days"])
        make_plan(plan.pk, now=now)
        told = plan_told(StoredPlan.objects.get(pk=plan.pk))
        if options["apply"]:
            applied = apply_plan(
                branch=branch,
                plan_id=plan.pk,
                most_rings=options["ring"],
                by=PROGRAM,
                now=timezone.now(),
            )
            told["applied"] = [_applied(each) for each in applied]
        if options["json"]:
            self.stdout.write(json.dumps(told, indent=2))
        else:
            self._lines(told, branch)

    def _lines(self, told: dict[str, Any], branch: Branch) -> None:
        for option in told["options"]:
            self.stdout.write(
                f"At most {option['most_rings']} to ring: {option['rings']} rung, "
                f"saves ${option['saves_cents'] / 100:,.0f} ({option['proof']})"
            )
        for line in told["options"][-1]["lines"] if told["options"] else []:
            self.stdout.write(f"{line['kind']:<6}{line['customer']}: {line['where']}")
        for problem in told["problems"]:
            self.stdout.write(f"No day for {problem['customer']}: {problem['why']}")
        for each in told.get("applied", []):
            self.stdout.write(f"{each['customer']}: {each['why'] or 'done'}")


def _branch(slug: str) -> Branch:
    found = Branch.objects.filter(slug=slug).select_related("depot_place").first()
    if found is None:
        known = ", ".join(Branch.objects.values_list("slug", flat=True)) or "none yet"
        raise CommandError(f"There is no branch {slug!r}. There are: {known}.")
    return found


def _applied(each: Applied) -> dict[str, Any]:
    line = each.line
    return {
        "line": line.pk,
        "customer": line.job.customer.name,
        "kind": line.kind,
        "done": each.done,
        "why": each.why,
    }
