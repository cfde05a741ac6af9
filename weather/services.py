"""Every write of the weather: places, and refreshing what the services say of them.

No transaction is open while a service is asked. A refresh that dies leaves a lease that
lapses; one that runs twice stores once.
"""

import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.db.models import OuterRef, Q, QuerySet, Subquery

from weather import past, patience, places, seasons
from weather.asking import Outcome, RefreshResult, ask_in_turn, ask_second, keep, observe
from weather.models import Forecast, Place
from weather.providers import replay
from weather.rules.distance import distance_km

__all__ = [
    "Outcome",
    "RefreshResult",
    "Wanted",
    "keep",
    "place_for",
    "prune",
    "refresh",
    "refresh_due",
    "turn_weather",
]

MOST_AT_ONCE = 50  # places in one round, so that verdicts and notices get their turn
SHARED_KM = 2.5
SHARED_HEIGHT_M = 50.0
LEASE = timedelta(minutes=3)
AFTER_FAILURE = timedelta(minutes=10)
# All services of a place together; one that drips must not hold up the places behind it.
PLACE_S = 25.0
# Of one round, so that verdicts and notices get their turn while services are slow. With the
# last place it stays below Celery's soft limit of 90 s.
ROUND_S = 45.0
FORECASTS_KEPT = timedelta(days=14)
COMPARED = timedelta(days=3)  # work so near is worth a second service's opinion
SOON, SOON_EVERY = timedelta(hours=48), timedelta(hours=1)
LATER, LATER_EVERY = timedelta(days=10), timedelta(hours=6)


@dataclass(frozen=True)
class Wanted:
    """A place somebody needs weather for; no time means always, as for a depot."""

    place_id: int
    soonest_work: datetime | None = None

    def every(self, *, now: datetime) -> timedelta | None:
        """How often to refresh it, or None while the work is too far off."""
        if self.soonest_work is None:
            return LATER_EVERY
        ahead = self.soonest_work - now
        if ahead <= SOON:
            return SOON_EVERY
        return LATER_EVERY if ahead <= LATER else None

    def compared(self, *, now: datetime) -> bool:
        """Whether a second service is asked for its opinion as well."""
        return self.soonest_work is not None and self.soonest_work - now <= COMPARED


def place_for(
    *,
    latitude: object,
    longitude: object,
    elevation_m: float | None = None,
    zone: str,
    name: str = "",
    replay_script: str = "",
) -> Place:
    """The place whose weather holds for a spot: one within 2.5 km and 50 m, else a new one."""
    shared = place_near(
        latitude=latitude,
        longitude=longitude,
        elevation_m=elevation_m,
        zone=zone,
        replay_script=replay_script,
    )
    if shared is not None:
        return shared
    north, east = places.coordinates(latitude, longitude)
    place, _ = Place.objects.get_or_create(
        latitude=north,
        longitude=east,
        defaults={
            "elevation_m": elevation_m,
            "zone": places.time_zone(zone),
            "name": name,
            "replay_script": replay_script,
        },
    )
    return place


def place_near(
    *,
    latitude: object,
    longitude: object,
    elevation_m: float | None = None,
    zone: str,
    replay_script: str = "",
) -> Place | None:
    """The place within 2.5 km and 50 m of a spot whose weather holds for it, if there is one."""
    north, east = places.coordinates(latitude, longitude)
    zone = places.time_zone(zone)
    near = Place.objects.filter(
        latitude__range=(float(north) - 0.03, float(north) + 0.03), zone=zone
    )
    if replay_script:
        near = near.filter(replay_script=replay_script)
    shared = [
        (away_km, place.pk, place)
        for place in near
        if (away_km := distance_km((north, east), (place.latitude, place.longitude))) <= SHARED_KM
        and _same_height(place.elevation_m, elevation_m)
    ]
    return min(shared)[2] if shared else None


def _same_height(first_m: float | None, second_m: float | None) -> bool:
    return first_m is None or second_m is None or abs(first_m - second_m) <= SHARED_HEIGHT_M


def refresh_due(
    *,
    now: datetime,
    wanted: Iterable[Wanted],
    limit: int = MOST_AT_ONCE,
    within_s: float = ROUND_S,
) -> list[RefreshResult]:
    """Refresh the wanted places that are due, soonest work first, at most `limit`.

    After `within_s` seconds no further place is begun. Safe to run twice at once: each place
    is leased.
    """
    ends = time.monotonic() + within_s
    wanted = list(wanted)
    pressing = _most_pressing(wanted, now=now)
    compared = {one.place_id for one in wanted if one.compared(now=now)}
    rows = Place.objects.in_bulk(pressing)
    due = [pk for pk, every in pressing.items() if pk in rows and _due(rows[pk], every, now=now)]
    due.sort(key=lambda pk: (pressing[pk], rows[pk].checked_at is not None, rows[pk].checked_at))
    results: list[RefreshResult] = []
    for pk in due[:limit]:
        if results and time.monotonic() >= ends:
            break  # what is left stays due
        results.append(refresh(rows[pk], now=now, compare=pk in compared))
    return results


def _most_pressing(wanted: Iterable[Wanted], *, now: datetime) -> dict[int, timedelta]:
    """For each wanted place the shortest time between two refreshes that anyone needs."""
    pressing: dict[int, timedelta] = {}
    for one in wanted:
        every = one.every(now=now)
        if every is not None:
            pressing[one.place_id] = min(every, pressing.get(one.place_id, every))
    return pressing


def _due(place: Place, every: timedelta, *, now: datetime) -> bool:
    if place.try_not_before and now < place.try_not_before:
        return False
    # Some minutes by place, so that not all come at the same moment of the hour.
    spread = timedelta(minutes=place.pk % 5)
    return place.checked_at is None or now - place.checked_at >= every + spread


def refresh(place: Place, *, now: datetime, compare: bool = False) -> RefreshResult:
    """Ask the services about one place and store what is new. No transaction may be open.

    With `compare` the next service is asked too, and its opinion kept beside the first.
    """
    lease = now + LEASE
    free = Q(leased_until__isnull=True) | Q(leased_until__lte=now)
    if not Place.objects.filter(free, pk=place.pk).update(leased_until=lease):
        return RefreshResult(place.pk, Outcome.BUSY)
    result = RefreshResult(place.pk, Outcome.FAILED)
    try:
        place.refresh_from_db()
        if settings.FORECASTS == "replay":
            result = _play(place, now=now)
        else:
            with patience.within(PLACE_S):
                result = _ask(place, now=now, compare=compare)
    finally:
        good = result.outcome is not Outcome.FAILED
        changed = {"checked_at": now} if good else {}
        Place.objects.filter(pk=place.pk, leased_until=lease).update(
            leased_until=None,
            try_not_before=None if good else now + AFTER_FAILURE,
            **changed,
        )
    return result


def _ask(place: Place, *, now: datetime, compare: bool) -> RefreshResult:
    """The services in their turn, then what a station measured and a second opinion."""
    result = ask_in_turn(place, now=now)
    if result.outcome is Outcome.STORED:
        observe(place, now=now)
    if compare:
        ask_second(place, now=now)
    return result


def _play(place: Place, *, now: datetime) -> RefreshResult:
    """The demo's invented forecast, and an invented past where too little is held."""
    stage = _stage(place, now=now)
    held = past.coverage(place, now=now, days=replay.PAST_DAYS - 1)
    if held.known_h < held.wanted_h:
        with transaction.atomic():
            past.remember(place, replay.past(stage, now=now), now=now)
    kept = keep(place, replay.forecast(stage, now=now), now=now)
    outcome = Outcome.STORED if kept else Outcome.UNCHANGED
    return RefreshResult(place.pk, outcome, replay.NAME)


def _stage(place: Place, *, now: datetime) -> replay.Stage:
    """Which script plays at `place`, from the day on which it began."""
    if place.replay_first_day is None:
        place.replay_first_day = now.astimezone(ZoneInfo(place.zone)).date()
        Place.objects.filter(pk=place.pk).update(replay_first_day=place.replay_first_day)
    return replay.Stage(
        script=place.replay_script,
        latitude=float(place.latitude),
        longitude=float(place.longitude),
        zone=place.zone,
        first_day=place.replay_first_day,
    )


def turn_weather(place: Place, *, script: str, now: datetime) -> Forecast | None:
    """In a demo, let another script begin today: a new forecast that says otherwise."""
    place.replay_script, place.replay_first_day = script, None
    Place.objects.filter(pk=place.pk).update(replay_script=script, replay_first_day=None)
    hours = replay.forecast(_stage(place, now=now), now=now)
    return keep(place, replace(hours, issued_at=now), now=now)


def prune(*, now: datetime, used: Iterable[int] | QuerySet[Any] = ()) -> int:
    """Delete what nobody asks for any more; return how many forecasts and days went.

    What the days say of their season is counted before they go.

    Forecasts live 14 days; the newest of each place and those of the ids `used` stay.
    """
    for place in Place.objects.filter(past_days__isnull=False).distinct():
        seasons.tally(place, now=now)
    newest = (
        Forecast.objects.filter(second=False, place=OuterRef("place"))
        .newest_first()
        .values("pk")[:1]
    )
    old = Forecast.objects.filter(fetched_at__lt=now - FORECASTS_KEPT)
    kept = used if isinstance(used, QuerySet) else set(used)
    deleted, _ = old.exclude(pk__in=kept).exclude(pk=Subquery(newest)).delete()
    return deleted + past.prune(now=now)
