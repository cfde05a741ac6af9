"""`manage.py refresh_weather`: ask the forecast services now and say what came of it."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from weather import services
from weather.models import Place


class Command(BaseCommand):
    """Refreshes every place, or the ones named, and prints one line for each."""

    help = "Ask the forecast services about all places, or about the ones named."

    def add_arguments(self, parser: CommandParser) -> None:
        """Ids of places; none means all."""
        parser.add_argument("place", nargs="*", type=int, help="ids of places; none means all")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Refresh and report; fails when not one place could be refreshed."""
        chosen = Place.objects.order_by("pk")
        if options["place"]:
            chosen = chosen.filter(pk__in=options["place"])
        results = []
        for place in chosen:
            result = services.refresh(place, now=timezone.now())
            results.append(result)
            why = f" ({'; '.join(result.reasons)})" if result.reasons else ""
            self.stdout.write(f"{place}: {result.outcome} {result.source}{why}")
        if not results:
            self.stdout.write("There is no place to refresh.")
        elif all(result.outcome is services.Outcome.FAILED for result in results):
            raise CommandError("No forecast could be fetched.")
