"""`manage.py floor_day`: one floor on one day, worked out and printed; nothing is booked."""

import json
from argparse import ArgumentParser
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError
from django.utils import timezone

from dispatch.management.given_day import GivenWeather, read_hours
from dispatch.management.refusals import Wrong
from dispatch.management.typed_floor import SPLITS, asked_of, listed
from dispatch.reads import floor_day_words
from dispatch.reads.floor_day import floor_day
from dispatch.reads.floor_day_measures import measures_of
from dispatch.rules.thresholds import DEFAULTS
from jobs.rules.local_times import NoSuchTime, instant_shown
from jobs.rules.plan import Condition
from jobs.rules.refusals import CannotPlan
from jobs.rules.typed import Unreadable
from weather import reads as weather
from weather import services
from weather.models import Place
from weather.places import NoSuchPlace, find_postal_code
from weather.rules.exposures import Exposure


class Command(BaseCommand):
    """Answers one question, or refuses in a sentence with exit code 1."""

    help = "Work out one floor on one day: stages, slab, limits, last safe pour and materials."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Everything is taken as text, so that a refusal can say what to type."""
        parser.add_argument("--area", default="", help="sq ft, or m² with --units metric")
        parser.add_argument("--edge", default="", help="ft or m; that of a square if left out")
        parser.add_argument("--crack", default="0", help="ft or m of cracks")
        parser.add_argument("--stem", default="0", help="ft or m of stem wall")
        parser.add_argument("--steps", default="0")
        parser.add_argument("--spalls", default="0")
        parser.add_argument("--condition", default=Condition.BARE.value, help=listed(Condition))
        parser.add_argument("--exposure", default="", help=listed(Exposure))
        parser.add_argument("--postal-code", default="", help="US postal code of the site")
        parser.add_argument("--system", default="", help="name or key of a coating system")
        parser.add_argument("--branch", default="", help="use this branch's systems and rates")
        parser.add_argument("--start", default="", help="arrival at the site: 2026-11-27 07:00")
        parser.add_argument("--leave-by", default="", help="when the crew must be gone: 18:00")
        parser.add_argument("--crew", default="2", help="how many people")
        parser.add_argument("--reading", default="", help="slab measured now: 54.5F or 12.5C")
        parser.add_argument("--dry-since", default="", help="when it looked dry after a wetting")
        parser.add_argument("--bays", default="1", help="coat in so many sections at joints")
        parser.add_argument("--second-start", default="", help="coat on a second visit from then")
        parser.add_argument(
            "--split", default="prepare", help=f"the first visit ends with: {', '.join(SPLITS)}"
        )
        parser.add_argument("--grinders", default="", help="one for two people if left out")
        parser.add_argument("--way-in", default="", help="narrowest way in, ft or m")
        parser.add_argument("--volts", default="", help="best outlet on site: 120")
        parser.add_argument("--amps", default="", help="its fuse: 20")
        parser.add_argument("--heat-kw", default="", help="a heater in the room: its kW")
        parser.add_argument("--heat-from", default="", help="when it is switched on")
        parser.add_argument("--heat-until", default="", help="when it is taken away")
        parser.add_argument(
            "--heat-unvented", action="store_true", help="its fumes stay in the room: adds water"
        )
        parser.add_argument("--card", default="", help="a JSON file: card, rates, thresholds")
        parser.add_argument("--hours", default="", help="a CSV file of weather, slab beside it")
        parser.add_argument("--now", default="", help="with --hours: when the question is asked")
        parser.add_argument("--opens", default="", help="one may be there, quietly: 05:00")
        parser.add_argument("--noise-from", default="", help="one may be loud: 07:00 if left out")
        parser.add_argument("--spare-hands", default="0", help="people who could join the crew")
        parser.add_argument("--units", default="us", help="us or metric")
        parser.add_argument("--json", action="store_true", help="print JSON, metric and UTC")

    def handle(self, *args: Any, **options: Any) -> None:
        """Ask, work out, print."""
        now = timezone.now()
        try:
            place = _place(options["postal_code"])
            now, given = _given(options, ZoneInfo(place.zone), now=now)
            asked = asked_of(options, zone=ZoneInfo(place.zone), now=now)
            if given is None:
                _fetch(place, now=now)
            answer = floor_day(
                asked,
                place=place,
                now=now,
                given=given.hours if given else None,
                given_slab=given.slab if given else None,
            )
            found = measures_of(answer, place=place, given_slab=given.slab if given else None)
        except (Wrong, Unreadable, NoSuchPlace, NoSuchTime, CannotPlan) as refusal:
            raise CommandError(str(refusal)) from refusal
        except DatabaseError as trouble:
            sentence = "The database did not answer; `manage.py migrate` makes its tables."
            raise CommandError(sentence) from trouble
        if options["json"]:
            told = floor_day_words.as_json(answer, place=place, measures=found)
            self.stdout.write(json.dumps(told, indent=2, allow_nan=False))
            return
        for line in floor_day_words.as_lines(answer, place=place, measures=found):
            self.stdout.write(line)


def _place(postal_code: str) -> Place:
    """The place whose weather holds there, made if it is new."""
    if not postal_code:
        raise Wrong("Where is the floor? Give --postal-code, as 62704.")
    found = find_postal_code(postal_code)
    return services.place_for(
        latitude=found.latitude, longitude=found.longitude, zone=found.zone, name=found.name
    )


def _given(
    options: dict[str, Any], zone: ZoneInfo, *, now: datetime
) -> tuple[datetime, GivenWeather | None]:
    """The weather that was handed in, if any, and the moment at which it is asked about."""
    if options["now"]:
        if not options["hours"]:
            raise Wrong("--now goes with --hours: what is stored is judged as it is now.")
        try:
            local = datetime.fromisoformat(options["now"].strip())
        except ValueError:
            raise Wrong(
                f"{options['now']!r} is no moment; give --now as 2026-11-26 17:30."
            ) from None
        now = local if local.tzinfo is not None else instant_shown(local, zone).at
    if not options["hours"]:
        return now, None
    return now, read_hours(options["hours"], zone=zone, issued=now)


def _fetch(place: Place, *, now: datetime) -> None:
    """Ask the services where nothing is held, or where what is held is too old to judge by."""
    held = weather.latest_forecast(place, now=now)
    if held is not None and weather.forecast_age_h(held, now=now) <= DEFAULTS.age_care_h:
        return
    result = services.refresh(place, now=now)
    if held is None and result.outcome is services.Outcome.FAILED:
        why = "; ".join(result.reasons) or "no service answered"
        raise Wrong(f"There is no forecast for {place}: {why}.")
