"""Hours that have gone by, kept for each place because slabs remember them for weeks."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weather.models import PAST_KEPT, PastDay, Place, day_start, layers_of
from weather.providers.contract import STATION
from weather.rules.hours import HOUR, LAYERS, Hours, floor_hour

# The first two days of a forecast may stand in for what happened; later ones are too unsure.
LONGEST_LEAD = timedelta(hours=48)
DAY_H = 24


def remember(place: Place, hours: Hours, *, now: datetime) -> None:
    """Keep those of `hours` that are over. Measured hours are never overwritten by others.

    Hours of a forecast count up to two days after its issue. Call inside a transaction.
    """
    end = min(hours.end, floor_hour(now))
    if hours.source != STATION and hours.issued_at is not None:
        end = min(end, floor_hour(hours.issued_at + LONGEST_LEAD))
    start = max(hours.start, floor_hour(now - PAST_KEPT))
    if start >= end:
        return
    gone = hours.between(start, end)
    first, last = start.date(), (end - HOUR).date()
    rows = {row.day: row for row in _locked(place, first=first, last=last)}
    for step in range((last - first).days + 1):
        day = first + timedelta(days=step)
        _merge(place, day, rows.get(day), gone)


def _locked(place: Place, *, first: date, last: date) -> list[PastDay]:
    days = place.past_days.select_for_update().filter(day__gte=first, day__lte=last)
    return list(days.order_by("day"))


def _merge(place: Place, day: date, row: PastDay | None, gone: Hours) -> None:
    """Write the hours of one day over what is held of it, hour by hour."""
    start = day_start(day)
    held = row.hours() if row else Hours.unknown(start=start, count=DAY_H, source="past")
    origins = list(row.origins) if row else [""] * DAY_H
    told = gone.between(start, start + DAY_H * HOUR)
    measured = np.array([origin == STATION for origin in origins])
    if gone.source != STATION:
        told = _without(told, measured)
    origins = [
        origin if np.isnan(air_c) else gone.source
        for origin, air_c in zip(origins, told.air_c, strict=True)
    ]
    if any(origins):
        layers = layers_of(held.over(told))
        PastDay.objects.update_or_create(
            place=place, day=day, defaults={"layers": layers, "origins": origins}
        )


def _without(hours: Hours, gone: NDArray[np.bool_]) -> Hours:
    """`hours` with everything unknown where `gone` says so."""
    layers: dict[str, Any] = {name: np.where(gone, np.nan, getattr(hours, name)) for name in LAYERS}
    return replace(hours, **layers)


@dataclass(frozen=True)
class Coverage:
    """How much of the time before now is known at a place."""

    wanted_h: int
    known_h: int


def coverage(place: Place, *, now: datetime, days: int) -> Coverage:
    """How many of the last `days` x 24 hours are held."""
    end = floor_hour(now)
    start = end - days * DAY_H * HOUR
    known = 0
    for row in place.past_days.filter(day__gte=start.date(), day__lte=end.date()):
        for position, origin in enumerate(row.origins):
            known += bool(origin) and start <= row.start + position * HOUR < end
    return Coverage(wanted_h=days * DAY_H, known_h=known)


def prune(*, now: datetime) -> int:
    """Delete the days nobody's slab remembers any more; return how many."""
    deleted, _ = PastDay.objects.filter(day__lt=(now - PAST_KEPT).date()).delete()
    return deleted
