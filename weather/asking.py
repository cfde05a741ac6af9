"""Asking the services about one place and storing what is new. `services` calls it under a lease.

No transaction is open while a service is asked.
"""

import logging
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from django.db import transaction

from weather import past, standing
from weather.answers import BadAnswer
from weather.http import NoContact, NoTimeLeft, Trouble, clock_ahead_s, counted
from weather.models import Forecast, Place, layers_of, packed_members
from weather.providers import Service, configured, nws_stations
from weather.providers.contract import Memory, NotHere, Said, Spot
from weather.providers.nws import NAME as NWS
from weather.providers.nws import RESOLVE_EVERY
from weather.reads import latest_forecast
from weather.rules.hours import Hours

log = logging.getLogger(__name__)

OLD = timedelta(hours=12)  # from here on the next service is asked as well
OBSERVE_EVERY = timedelta(hours=3)
SECOND_EVERY = timedelta(hours=3)


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


def ask_in_turn(place: Place, *, now: datetime) -> RefreshResult:
    """The services one after another until one gives a forecast that is not old."""
    reasons: list[str] = []
    best: RefreshResult | None = None
    for service in configured():
        result = _ask_one(service, place, now=now)
        reasons += result.reasons
        if result.outcome is Outcome.FAILED:
            if _can_wait(service, place, now=now):
                break
            continue
        if _promote(service, place):
            result = replace(result, outcome=Outcome.STORED)
        if best is None or result.outcome is Outcome.STORED:
            best = result
        newest = latest_forecast(place, now=now)
        if newest is not None and now - newest.issued_by_our_clock <= OLD:
            break
        reasons.append(f"{service.name}: its newest forecast is more than 12 hours old")
    outcome = best.outcome if best else Outcome.FAILED
    return RefreshResult(place.pk, outcome, best.source if best else "", tuple(reasons))


def _can_wait(service: Service, place: Place, *, now: datetime) -> bool:
    """Whether only this hour's budget is spent and what is held will do until the next hour."""
    newest = latest_forecast(place, now=now)
    held = newest is not None and now - newest.issued_by_our_clock <= OLD
    return held and standing.budget_spent(service.name, now=now)


def ask_second(place: Place, *, now: datetime) -> RefreshResult | None:
    """Ask the next service for a second opinion, kept beside the forecast that counts.

    None when there is no other service to ask, or its opinion is recent enough.
    """
    lead = latest_forecast(place, now=now)
    if lead is None:
        return None
    for service in configured():
        # The US service's hourly text is made from its grid: no second opinion.
        if lead.source.startswith(service.name) or _not_of(service, place):
            continue
        if not standing.answered_before(service.name, place, now - SECOND_EVERY):
            return None
        result = _ask_one(service, place, now=now, second=True)
        if result.outcome is not Outcome.FAILED:
            return result
    return None


def _not_of(service: Service, place: Place) -> bool:
    """Whether the service is known not to cover the place."""
    return service.name == NWS and place.nws_resolved_at is not None and not place.nws_grid


def _promote(service: Service, place: Place) -> bool:
    """Let a service's second opinions count, now that it is asked in its turn."""
    mine = place.forecasts.filter(source__startswith=service.name, second=True)
    return bool(mine.update(second=False))


def _ask_one(
    service: Service, place: Place, *, now: datetime, second: bool = False
) -> RefreshResult:
    held = place.forecasts.filter(source__startswith=service.name).exists()
    if held and standing.not_expired(service.name, place, now=now):
        return RefreshResult(place.pk, Outcome.UNCHANGED, service.name)
    memory = Memory(
        last_modified=standing.last_modified(service.name, place) if held else "",
        nws_grid=_known_grid(place, now=now),
    )
    if service.name == NWS and memory.nws_grid == "":
        reason = "the US service does not cover this place"
    else:
        reason = standing.reason_not_to_ask(service.name, place, now=now)
    if reason:
        return RefreshResult(place.pk, Outcome.FAILED, service.name, (reason,))
    spot = Spot(place.latitude, place.longitude, place.elevation_m)
    try:
        with _paid(service.name, now=now):
            said = service.ask(spot, memory=memory, now=now)
    except (NotHere, NoContact, NoTimeLeft) as silent:
        if isinstance(silent, NotHere):
            _keep_grid(place, "", now=now)
        return RefreshResult(place.pk, Outcome.FAILED, service.name, (str(silent),))
    except (Trouble, BadAnswer) as trouble:
        # As text: whoever keeps the record would keep the answer that was refused with it.
        log.warning("%s failed for place %s: %s", service.name, place.pk, str(trouble))
        standing.failed(service.name, place, trouble, now=now)
        reason = f"{service.name}: {trouble}"
        return RefreshResult(place.pk, Outcome.FAILED, service.name, (reason,))
    if said.nws_grid is not None and said.nws_grid != memory.nws_grid:
        _keep_grid(place, said.nws_grid, now=now)
    kept = _kept(place, said, now=now, second=second)
    standing.answered(service.name, place, said, now=now)
    outcome = Outcome.STORED if kept else Outcome.UNCHANGED
    return RefreshResult(place.pk, outcome, service.name, said.warnings)


def _kept(place: Place, said: Said, *, now: datetime, second: bool) -> Forecast | None:
    """What was said, stored if it is new."""
    if said.hours is None:
        return None
    ahead_s = clock_ahead_s() or 0.0
    return keep(place, said.hours, now=now, second=second, extra=said.extra, ahead_s=ahead_s)


@contextmanager
def _paid(service: str, *, now: datetime) -> Iterator[None]:
    """Count every request of the block against the hour's budget, and note the service's clock.

    The first request is counted already.
    """
    with counted() as sent:
        try:
            yield
        finally:
            standing.spent_more(service, sent() - 1, now=now)
            if sent():
                standing.clock_seen(service, clock_ahead_s())


def observe(place: Place, *, now: datetime) -> None:
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
        with _paid(name, now=now):
            hours = nws_stations.ask(spot, nws_grid=place.nws_grid, now=now)
    except NoTimeLeft:
        return
    except (Trouble, BadAnswer) as trouble:
        log.info("no station's hours for place %s: %s", place.pk, str(trouble))
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
def keep(
    place: Place,
    hours: Hours,
    *,
    now: datetime,
    second: bool = False,
    extra: Mapping[str, Sequence[float | None]] | None = None,
    ahead_s: float = 0.0,
) -> Forecast | None:
    """Store a forecast that is newer than what its service said before; None when it is not.

    Hours that have gone by, of the forecast before and of this one, stay as the past. A
    `second` opinion is stored beside the forecast that counts and never becomes the past.
    `ahead_s`: by how much the service's clock was ahead of ours.
    """
    if hours.issued_at is None:
        raise ValueError("a forecast without an issue time has no age")
    mine = place.forecasts.filter(source=hours.source, issued_at__gte=hours.issued_at)
    if mine.exists():
        return None
    before = latest_forecast(place, now=now)
    for earlier in () if second else (before.hours() if before else None, hours):
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
            "layers": {**layers_of(hours), **{k: list(v) for k, v in (extra or {}).items()}},
            "notes": list(hours.notes),
            "second": second,
            "members": packed_members(hours.members_mm),
            "clock_ahead_s": ahead_s,
        },
    )
    return forecast if created else None
