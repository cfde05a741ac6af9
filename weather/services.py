"""Every write of the weather: places, and refreshing what the services say of them.

No transaction is open while a service is asked. A refresh that dies leaves a lease that
lapses; one that runs twice stores once.
"""

import logging
import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.db.models import OuterRef, Q, Subquery

from weather import past, places, standing
from weather.answers import BadAnswer
from weather.http import NoContact, Trouble
from weather.models import Forecast, Place, layers_of
from weather.providers import SERVICES, Service, nws_stations, replay
from weather.providers.contract import Memory, NotHere, Said, Spot
from weather.providers.nws import RESOLVE_EVERY
from weather.reads import latest_forecast
from weather.rules.hours import Hours

log = logging.getLogger(__name__)

SHARED_KM = 2.5
SHARED_HEIGHT_M = 50.0
LEASE = timedelta(minutes=3)
PAUSE_S = 0.5  # the services ask for a quiet pace, and nobody waits for this loop
AFTER_FAILURE = timedelta(minutes=10)
FORECASTS_KEPT = timedelta(days=14)
OLD = timedelta(hours=12)  # from here on the next service is asked as well
OBSERVE_EVERY = timedelta(hours=3)
SOON, SOON_EVERY = timedelta(hours=48), timedelta(hours=1)
LATER, LATER_EVERY = timedelta(days=10), timedelta(hours=6)


class Outcome(StrEnum):
    """What a refresh came to."""

    STORED = "stored"
    UNCHANGED = "unchanged"
    BUSY = "busy"
    FAILED = "failed"


@dataclass(frozen=True)
class RefreshResult:
    """What a refresh came to, for whom, from which service, and what went wrong on the way."""

    place_id: int
    outcome: Outcome
    source: str = ""
    reasons: tuple[str, ...] = ()


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
        if (away_km := places.distance_km((north, east), (place.latitude, place.longitude)))
        <= SHARED_KM
        and _same_height(place.elevation_m, elevation_m)
    ]
    if shared:
        return min(shared)[2]
    place, _ = Place.objects.get_or_create(
        latitude=north,
        longitude=east,
        defaults={
            "elevation_m": elevation_m,
            "zone": zone,
            "name": name,
            "replay_script": replay_script,
        },
    )
    return place


def _same_height(first_m: float | None, second_m: float | None) -> bool:
    return first_m is None or second_m is None or abs(first_m - second_m) <= SHARED_HEIGHT_M


def refresh_due(*, now: datetime, wanted: Iterable[Wanted], limit: int = 50) -> list[RefreshResult]:
    """Refresh the wanted places that are due, soonest work first, at most `limit`.

    Safe to run twice at once: each place is leased.
    """
    pressing = _most_pressing(wanted, now=now)
    rows = Place.objects.in_bulk(pressing)
    due = [pk for pk, every in pressing.items() if pk in rows and _due(rows[pk], every, now=now)]
    due.sort(key=lambda pk: (pressing[pk], rows[pk].checked_at is not None, rows[pk].checked_at))
    results: list[RefreshResult] = []
    for pk in due[:limit]:
        if results and settings.FORECASTS == "live":
            time.sleep(PAUSE_S)
        results.append(refresh(rows[pk], now=now))
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


def refresh(place: Place, *, now: datetime) -> RefreshResult:
    """Ask the services about one place and store what is new. No transaction may be open."""
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
            result = _ask_in_turn(place, now=now)
            if result.outcome is Outcome.STORED:
                _observe(place, now=now)
    finally:
        good = result.outcome is not Outcome.FAILED
        changed = {"checked_at": now} if good else {}
        Place.objects.filter(pk=place.pk, leased_until=lease).update(
            leased_until=None,
            try_not_before=None if good else now + AFTER_FAILURE,
            **changed,
        )
    return result


def _ask_in_turn(place: Place, *, now: datetime) -> RefreshResult:
    """The services one after another until one gives a forecast that is not old."""
    reasons: list[str] = []
    best: RefreshResult | None = None
    for service in SERVICES:
        result = _ask_one(service, place, now=now)
        reasons += result.reasons
        if result.outcome is Outcome.FAILED:
            continue
        if best is None or result.outcome is Outcome.STORED:
            best = result
        newest = latest_forecast(place, now=now)
        if newest is not None and now - newest.issued_at <= OLD:
            break
        reasons.append(f"{service.name}: its newest forecast is more than 12 hours old")
    outcome = best.outcome if best else Outcome.FAILED
    return RefreshResult(place.pk, outcome, best.source if best else "", tuple(reasons))


def _ask_one(service: Service, place: Place, *, now: datetime) -> RefreshResult:
    held = place.forecasts.filter(source__startswith=service.name).exists()
    if held and standing.not_expired(service.name, place, now=now):
        return RefreshResult(place.pk, Outcome.UNCHANGED, service.name)
    reason = standing.reason_not_to_ask(service.name, place, now=now)
    if reason:
        return RefreshResult(place.pk, Outcome.FAILED, service.name, (reason,))
    memory = Memory(
        last_modified=standing.last_modified(service.name, place) if held else "",
        nws_grid=_known_grid(place, now=now),
    )
    spot = Spot(place.latitude, place.longitude, place.elevation_m)
    try:
        said = service.ask(spot, memory=memory, now=now)
    except NotHere as elsewhere:
        _keep_grid(place, "", now=now)
        return RefreshResult(place.pk, Outcome.FAILED, service.name, (str(elsewhere),))
    except NoContact as missing:
        return RefreshResult(place.pk, Outcome.FAILED, service.name, (str(missing),))
    except (Trouble, BadAnswer) as trouble:
        log.warning("%s failed for place %s: %s", service.name, place.pk, trouble)
        standing.failed(service.name, place, trouble, now=now)
        reason = f"{service.name}: {trouble}"
        return RefreshResult(place.pk, Outcome.FAILED, service.name, (reason,))
    if said.nws_grid is not None and said.nws_grid != memory.nws_grid:
        _keep_grid(place, said.nws_grid, now=now)
    kept = keep(place, said.hours, now=now) if said.hours is not None else None
    standing.answered(service.name, place, said, now=now)
    outcome = Outcome.STORED if kept else Outcome.UNCHANGED
    return RefreshResult(place.pk, outcome, service.name, said.warnings)


def _observe(place: Place, *, now: datetime) -> None:
    """Put what a station near by measured over what forecasts said of the last week.

    Without it a new place would have no past, and the estimate of its slabs would be weak.
    """
    place.refresh_from_db()
    name = nws_stations.NAME
    due = standing.answered_before(name, place, now - OBSERVE_EVERY)
    if not place.nws_grid or not due or standing.reason_not_to_ask(name, place, now=now):
        return
    spot = Spot(place.latitude, place.longitude, place.elevation_m)
    try:
        hours = nws_stations.ask(spot, nws_grid=place.nws_grid, now=now)
    except (Trouble, BadAnswer) as trouble:
        log.info("no station's hours for place %s: %s", place.pk, trouble)
        standing.failed(name, place, trouble, now=now)
        return
    with transaction.atomic():
        past.remember(place, hours, now=now)
    standing.answered(name, place, Said(None), now=now)


def _known_grid(place: Place, *, now: datetime) -> str | None:
    resolved_at = place.nws_resolved_at
    return place.nws_grid if resolved_at and now - resolved_at < RESOLVE_EVERY else None


def _keep_grid(place: Place, grid: str, *, now: datetime) -> None:
    Place.objects.filter(pk=place.pk).update(nws_grid=grid, nws_resolved_at=now)


@transaction.atomic
def keep(place: Place, hours: Hours, *, now: datetime) -> Forecast | None:
    """Store a forecast that is newer than what its service said before; None when it is not.

    Hours that have gone by, of the forecast before and of this one, stay as the past.
    """
    if hours.issued_at is None:
        raise ValueError("a forecast without an issue time has no age")
    mine = place.forecasts.filter(source=hours.source, issued_at__gte=hours.issued_at)
    if mine.exists():
        return None
    before = latest_forecast(place, now=now)
    for earlier in (before.hours() if before else None, hours):
        if earlier is not None:
            past.remember(place, earlier, now=now)
    forecast, created = Forecast.objects.get_or_create(
        place=place,
        source=hours.source,
        issued_at=hours.issued_at,
        defaults={
            "fetched_at": now,
            "start": hours.start,
            "count": len(hours),
            "layers": layers_of(hours),
            "notes": list(hours.notes),
        },
    )
    return forecast if created else None


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


def prune(*, now: datetime, used: Iterable[int] = ()) -> int:
    """Delete what nobody asks for any more; return how many forecasts and days went.

    Forecasts live 14 days; the newest of each place and those of the ids `used` stay.
    """
    newest = Forecast.objects.filter(place=OuterRef("place")).newest_first().values("pk")[:1]
    old = Forecast.objects.filter(fetched_at__lt=now - FORECASTS_KEPT)
    deleted, _ = old.exclude(pk__in=set(used)).exclude(pk=Subquery(newest)).delete()
    return deleted + past.prune(now=now)
