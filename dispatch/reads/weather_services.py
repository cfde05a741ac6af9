"""The page of weather services: how each stands with us, and how old each place's forecast is."""

from calendar import month_name
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import OuterRef, QuerySet, Subquery

from dispatch.reads.forecast_age import forecast_age
from jobs.models import Branch, Job, JobState, Site
from weather import behaviour
from weather.models import Forecast, Place
from weather.providers import CREDITS, TITLES
from weather.reads import COMPARABLE, latest_forecast, second_forecast
from weather.rules.seasonal import days_in_words, table_odds
from weather.seasons import seasonal_odds

LISTED = 60


@dataclass(frozen=True)
class PlaceRow:
    """One place of the branch with its forecast."""

    place: Place
    source: str
    age: str
    second: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class MonthRow:
    """One month: what the branch has typed, and what offers reckon with at the depot."""

    number: int
    name: str
    typed: str
    table_pct: int
    days: str
    own_days: int


def places_of(branch: Branch) -> QuerySet[Place]:
    """The places a branch needs weather for: its depot and the sites of jobs that are open."""
    open_jobs = Job.objects.of_branch(branch).filter(state__in=[JobState.WAITING, JobState.BOOKED])
    sites = Site.objects.filter(jobs__in=open_jobs)
    ids = {branch.depot_place_id, *sites.values_list("place_id", flat=True).distinct()}
    return Place.objects.filter(pk__in=ids)


def credits_of(branch: Branch, *, now: datetime) -> list[str]:
    """Whom to thank: the sources of the newest forecasts of the branch's places, each once.

    Second opinions count, since the pages show them.
    """
    mine = Forecast.objects.filter(place=OuterRef("pk"))
    newest = mine.counting().newest_first().values("source")[:1]
    second = mine.filter(second=True, issued_at__gte=now - COMPARABLE).values("source")[:1]
    rows = places_of(branch).values_list(Subquery(newest), Subquery(second))
    return credits_for(source for row in rows for source in row if source)


def credits_for(sources: Iterable[str]) -> list[str]:
    """The credit of each source, once, in the order in which services are asked."""
    used = set(sources)
    return list(dict.fromkeys(text for source, text in CREDITS.items() if source in used))


def services(*, now: datetime) -> list[behaviour.Behaviour]:
    """Every service with its standing."""
    return behaviour.of_services(now=now)


def places(branch: Branch, *, now: datetime) -> list[PlaceRow]:
    """The branch's places, those with the oldest forecast first."""
    found = [_row(branch, place, now) for place in places_of(branch).order_by("pk")[:LISTED]]
    return [row for _, row in sorted(found, key=lambda pair: pair[0])]


def _row(branch: Branch, place: Place, now: datetime) -> tuple[datetime, PlaceRow]:
    forecast = latest_forecast(place, now=now)
    other = second_forecast(place, now=now)
    issued_at = forecast.issued_at if forecast else now - timedelta(days=9999)
    row = PlaceRow(
        place=place,
        source=TITLES.get(forecast.source, forecast.source) if forecast else "none",
        age=forecast_age(place, now=now, zone=branch.tz),
        second=TITLES.get(other.source, other.source) if other else "",
        notes=tuple(forecast.notes) if forecast else (),
    )
    return issued_at, row


def months(branch: Branch) -> list[MonthRow]:
    """The table of wet days by month, as the depot's record and the branch's entries make it."""
    rows = []
    for number in range(1, 13):
        odds = seasonal_odds(branch.depot_place, number, wet_day_pct=branch.wet_months)
        table, _ = table_odds(number, branch.wet_months)
        rows.append(
            MonthRow(
                number=number,
                name=month_name[number],
                typed=str(branch.wet_months.get(str(number), "")),
                table_pct=round(100 * table[24]),
                days=days_in_words(odds.day),
                own_days=odds.own_days,
            )
        )
    return rows
