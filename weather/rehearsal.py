"""Some hours of refreshing rehearsed against a stand-in, with the planner and client that run.

It writes places and forecasts, so it belongs on a throwaway database; the command
`refresh_weather --plan` makes one.
"""

import math
import random
from collections import Counter
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from django.conf import settings

from weather import http, services, stand_in
from weather.models import Place
from weather.reads import latest_forecast
from weather.rules.hours import HOUR
from weather.services import Wanted

TOWNS = 40
MIDDLES = 3  # postal codes a town, whose middles are what an address is looked up as
TICK = timedelta(minutes=5)  # how often the clock of the background work wakes
HOURS = 3
START = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
DAYS_AHEAD = 10
SEED = 1


@dataclass(frozen=True)
class Rehearsal:
    """What it came to; `most_an_hour` is the figure."""

    sites: int
    towns: int
    places: int
    hours: int
    requests_by_hour: tuple[int, ...]
    most_an_hour: int
    allowed_an_hour: int
    by_kind: dict[str, int]
    without_forecast: int
    oldest_h: float

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return asdict(self)


def rehearse(*, sites: int, towns: int = TOWNS, hours: int = HOURS) -> Rehearsal:
    """Refresh `sites` open sites in `towns` towns for some hours and count what is sent."""
    by_hour: list[int] = []
    kinds: Counter[str] = Counter()
    wanted = _wanted(sites=sites, towns=towns)
    with stand_in.running() as service:
        _ask(service.url)
        for hour in range(hours):
            service.asked.clear()
            for tick in range(int(HOUR / TICK)):
                service.now = now = START + hour * HOUR + tick * TICK
                while _refreshed(wanted, now=now) == services.MOST_AT_ONCE:
                    pass
            by_hour.append(service.asked.total())
            kinds += service.asked
    end = START + hours * HOUR
    ages = [_age_h(place, end) for place in Place.objects.all()]
    return Rehearsal(
        sites=sites,
        towns=towns,
        places=len(ages),
        hours=hours,
        requests_by_hour=tuple(by_hour),
        most_an_hour=max(by_hour),
        allowed_an_hour=300,
        by_kind=dict(kinds),
        without_forecast=sum(age is None for age in ages),
        oldest_h=round(max((age for age in ages if age is not None), default=0.0), 2),
    )


def _refreshed(wanted: list[Wanted], *, now: datetime) -> int:
    """How many places a round refreshed; only the requests count here, not the time."""
    return len(services.refresh_due(now=now, wanted=wanted, within_s=math.inf))


def _ask(url: str) -> None:
    settings.FORECASTS = "live"
    settings.FORECAST_CONTACT = "rehearsal@localhost"
    settings.NWS_URL = settings.METNO_URL = url
    settings.OPEN_METEO_KEY = ""
    http.PACE_S = 0.0


def _wanted(*, sites: int, towns: int) -> list[Wanted]:
    """Open sites at the middles of their postal codes, with work within ten days."""
    chance = random.Random(SEED)  # noqa: S311
    middles = [
        (30.0 + town // 8 * 1.5, -100.0 + town % 8 * 2.0 + middle * 0.05)
        for town in range(towns)
        for middle in range(MIDDLES)
    ]
    wanted = []
    for site in range(sites):
        north, east = middles[site % len(middles)]
        place = services.place_for(latitude=north, longitude=east, zone="America/Chicago")
        work = START + timedelta(days=chance.uniform(0, DAYS_AHEAD))
        wanted.append(Wanted(place.pk, work))
    return wanted


def _age_h(place: Place, now: datetime) -> float | None:
    forecast = latest_forecast(place, now=now)
    return (now - forecast.issued_at) / HOUR if forecast else None
