"""`manage.py verdicts`: judge every open stint on the newest forecast and print what was said."""

import json
from argparse import ArgumentParser
from datetime import datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from dispatch.models import Booking, Stint, StoredVerdict
from dispatch.services.verdicts import WATCH_AHEAD, judge_booking
from jobs.models import Branch
from jobs.rules.clock import say_moment, say_span


class Command(BaseCommand):
    """Judges and prints, soonest first."""

    help = "Judge every open stint on the newest forecast and print the verdicts."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """One branch or all; lines or JSON."""
        parser.add_argument("--branch", default="", help="the branch's short name (slug)")
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Judge now; an unknown branch is refused by name."""
        now = timezone.now()
        branches = self._branches(options["branch"])
        for booking in _open(branches, now=now):
            judge_booking(booking, now=now)
        told = list(_latest(branches, now=now))
        if options["json"]:
            self.stdout.write(json.dumps([_plain(verdict) for verdict in told], indent=2))
            return
        for verdict in told:
            self.stdout.write(_line(verdict))
        if not told:
            self.stdout.write("There is no open stint that a forecast can reach.")

    def _branches(self, slug: str) -> list[Branch]:
        if not slug:
            return list(Branch.objects.all())
        found = list(Branch.objects.filter(slug=slug))
        if not found:
            known = ", ".join(Branch.objects.values_list("slug", flat=True)) or "none yet"
            raise CommandError(f"There is no branch {slug!r}. There are: {known}.")
        return found


def _open(branches: list[Branch], *, now: datetime) -> list[Booking]:
    """Open bookings of these branches within a forecast's reach."""
    return list(
        Booking.objects.open()
        .filter(branch__in=branches, stints__start__lt=now + WATCH_AHEAD, stints__end__gt=now)
        .distinct()
        .with_job()
        .order_by("pk")
    )


def _latest(branches: list[Branch], *, now: datetime) -> Any:
    ahead = Stint.objects.open().filter(booking__branch__in=branches, end__gt=now)
    return (
        StoredVerdict.objects.filter(latest=True, stint__in=ahead)
        .select_related("stint__crew", "stint__booking__branch", "forecast")
        .select_related("stint__booking__job__customer", "stint__booking__job__site")
        .order_by("stint__start", "stint_id")
    )


def _line(verdict: StoredVerdict) -> str:
    stint = verdict.stint
    job = stint.booking.job
    span = say_span(stint.start, stint.end, job.site.tz)
    last = verdict.last_safe_pour
    pour = f" Last safe pour {say_moment(last, job.site.tz)}." if last else ""
    return (
        f"{verdict.level.upper():<8}{span}, {stint.crew}, {job.customer}: {verdict.headline}{pour}"
    )


def _plain(verdict: StoredVerdict) -> dict[str, Any]:
    stint = verdict.stint
    booking = stint.booking
    return {
        "branch": booking.branch.slug,
        "stint": stint.pk,
        "booking": booking.pk,
        "customer": booking.job.customer.name,
        "crew": stint.crew.name,
        "start": stint.start.isoformat(),
        "end": stint.end.isoformat(),
        "level": verdict.level,
        "headline": verdict.headline,
        "firmness": verdict.firmness,
        "last_safe_pour": _iso(verdict.last_safe_pour),
        "binds": verdict.binds,
        "slack_min": verdict.slack_min,
        "wet_from": _iso(verdict.wet_from),
        "wet_until": _iso(verdict.wet_until),
        "checks": verdict.checks,
        "ways_out": verdict.ways_out,
        "measures": verdict.measures,
        "wet_hours": verdict.wet_hours,
        "forecast_issued_at": _iso(verdict.forecast.issued_at if verdict.forecast else None),
        "made_at": _iso(verdict.made_at),
    }


def _iso(instant: datetime | None) -> str | None:
    return instant.isoformat() if instant else None
