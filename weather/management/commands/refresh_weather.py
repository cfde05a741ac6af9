"""`manage.py refresh_weather`: ask the forecast services now and say what came of it."""

import json
import os
import subprocess
import sys
import tempfile
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from weather import rehearsal, services
from weather.behaviour import of_services
from weather.http import counted
from weather.models import Place
from weather.reads import forecast_age_h, latest_forecast
from weather.services import Outcome, RefreshResult

THROWAWAY = "REHEARSAL_ON_A_THROWAWAY_DATABASE"


class Command(BaseCommand):
    """Refreshes every place, or the ones named, and prints one line for each."""

    help = (
        "Ask the forecast services about all places, or about the ones named, once. With --plan, "
        "rehearse some hours for so many sites against a stand-in and count the requests."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Ids of places; none means all."""
        parser.add_argument("place", nargs="*", type=int, help="ids of places; none means all")
        parser.add_argument("--once", action="store_true", help="one pass, as without it")
        parser.add_argument("--json", action="store_true", help="one JSON document")
        parser.add_argument(
            "--plan", type=int, metavar="SITES", help="rehearse with so many open sites"
        )
        parser.add_argument("--towns", type=int, default=rehearsal.TOWNS, help="for --plan")
        parser.add_argument("--hours", type=int, default=rehearsal.HOURS, help="for --plan")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Refresh and report; fails when not one place could be refreshed."""
        if options["plan"] is not None:
            self._plan(options)
            return
        chosen = Place.objects.order_by("pk")
        if options["place"]:
            chosen = chosen.filter(pk__in=options["place"])
        now = timezone.now()
        with counted() as sent:
            results = [(place, services.refresh(place, now=now)) for place in chosen]
            requests = sent()
        if options["json"]:
            self.stdout.write(json.dumps(_document(results, requests=requests), indent=2))
        else:
            self._say(results)
        if results and all(result.outcome is Outcome.FAILED for _, result in results):
            raise CommandError("No forecast could be fetched.")

    def _say(self, results: list[tuple[Place, RefreshResult]]) -> None:
        for place, result in results:
            why = f" ({'; '.join(result.reasons)})" if result.reasons else ""
            self.stdout.write(f"{place}: {result.outcome} {result.source}{why}")
        if not results:
            self.stdout.write("There is no place to refresh.")

    def _plan(self, options: dict[str, Any]) -> None:
        """The rehearsal, in a process with an empty database of its own."""
        if os.environ.get(THROWAWAY) != "1":
            self.stdout.write(_in_throwaway(options), ending="")
            return
        found = rehearsal.rehearse(
            sites=options["plan"], towns=options["towns"], hours=options["hours"]
        )
        if options["json"]:
            self.stdout.write(json.dumps(found.as_json(), indent=2))
            return
        by_hour = ", ".join(map(str, found.requests_by_hour))
        self.stdout.write(
            f"{found.sites} open sites in {found.towns} towns share {found.places} places. "
            f"Requests in each of {found.hours} hours: {by_hour}; at most {found.most_an_hour} "
            f"of {found.allowed_an_hour} allowed. Oldest forecast at the end: {found.oldest_h} h; "
            f"places without one: {found.without_forecast}."
        )


def _document(results: list[tuple[Place, RefreshResult]], *, requests: int) -> dict[str, Any]:
    """What came of a pass as plain values; ages count from the issue."""
    now = timezone.now()
    return {
        "at": now.isoformat(),
        "forecasts": settings.FORECASTS,
        "requests": requests,
        "places": [_place(place, result) for place, result in results],
        "services": [
            {
                "name": each.service.name,
                "configured": each.configured,
                "answered_at": each.answered_at.isoformat() if each.answered_at else None,
                "not_before": each.resting_until.isoformat() if each.resting_until else None,
                "requests_left": each.budget_left,
                "trouble": each.trouble,
                "warning": each.warning,
            }
            for each in of_services(now=now)
        ],
    }


def _place(place: Place, result: RefreshResult) -> dict[str, Any]:
    now = timezone.now()
    forecast = latest_forecast(place, now=now)
    return {
        "id": place.pk,
        "place": str(place),
        "outcome": result.outcome.value,
        "reasons": list(result.reasons),
        "source": forecast.source if forecast else None,
        "issued_at": forecast.issued_at.isoformat() if forecast else None,
        "age_h": round(forecast_age_h(forecast, now=now), 2) if forecast else None,
    }


def _in_throwaway(options: dict[str, Any]) -> str:
    """What the same command prints on a new SQLite file that is deleted afterwards."""
    with tempfile.TemporaryDirectory(prefix="slabcast-plan-") as folder:
        kept = {name: v for name, v in os.environ.items() if not name.startswith("SLABCAST_")}
        environment = {
            **kept,
            THROWAWAY: "1",
            "SLABCAST_DEMO": "1",
            "SLABCAST_STATE_DIR": folder,
            "SLABCAST_LOG_LEVEL": "ERROR",
            "PYTHONPATH": str(settings.BASE_DIR),
            "DJANGO_SETTINGS_MODULE": "deploy.settings",
        }
        words = ["--plan", str(options["plan"]), "--towns", str(options["towns"])]
        words += ["--hours", str(options["hours"])] + ["--json"] * options["json"]
        _run(["migrate", "--verbosity", "0"], environment)
        return _run(["refresh_weather", *words], environment)


def _run(words: list[str], environment: dict[str, str]) -> str:
    done = subprocess.run(  # noqa: S603  our own program and numbers
        [sys.executable, "-m", "django", *words],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise CommandError(f"The rehearsal failed: {done.stderr.strip()[-600:]}")
    return done.stdout
