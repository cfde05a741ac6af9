"""Slabs that were worked out a moment ago: one estimate takes tens of milliseconds.

The same hours over the same kind of floor give the same slab, and callers of one town ask for
it again and again. Everything an estimate rests on is in its key, so nothing here grows old.
"""

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from hashlib import blake2b
from threading import Lock

import numpy as np

from jobs.rules.doors import Span
from weather.rules.exposures import Exposure
from weather.rules.heaters import Heater
from weather.rules.hours import Hours, SlabHours, floor_hour
from weather.rules.slab import SlabReading, SlabSite, slab_hours_batch

MOST = 256


@dataclass(frozen=True)
class Wanted:
    """One slab that is asked for; `door_open` as `slab_hours` takes it."""

    exposure: Exposure
    latitude: float
    longitude: float
    garage_offset_c: float
    door_open: tuple[Span, ...] = ()
    heaters: tuple[Heater, ...] = ()
    reading: SlabReading | None = None


Key = tuple[Wanted, bytes, datetime]


_KEPT: "OrderedDict[Key, SlabHours]" = OrderedDict()
_LOCK = Lock()


def slabs(wanted: Sequence[Wanted], *, hours: Hours, now: datetime) -> list[SlabHours]:
    """The slabs in their order; those that are not kept are worked out together."""
    about = (_digest(hours), floor_hour(now))
    keys: list[Key] = [(each, *about) for each in wanted]
    with _LOCK:
        held = {key: _KEPT[key] for key in keys if key in _KEPT}
    missing = [key for key in dict.fromkeys(keys) if key not in held]
    if missing:
        sites = [_site(key[0], hours) for key in missing]
        held |= zip(missing, slab_hours_batch(sites=sites, now=now), strict=True)
        _keep({key: held[key] for key in missing})
    return [held[key] for key in keys]


def _site(wanted: Wanted, hours: Hours) -> SlabSite:
    return SlabSite(
        hours=hours,
        exposure=wanted.exposure,
        latitude=wanted.latitude,
        longitude=wanted.longitude,
        garage_offset_c=wanted.garage_offset_c,
        door_open=wanted.door_open,
        heaters=wanted.heaters,
        reading=wanted.reading,
    )


def _keep(found: dict[Key, SlabHours]) -> None:
    with _LOCK:
        _KEPT.update(found)
        while len(_KEPT) > MOST:
            _KEPT.popitem(last=False)


def _digest(hours: Hours) -> bytes:
    """What tells these hours from any others."""
    said = blake2b(str(hours.start).encode(), digest_size=16)
    for each in fields(hours):
        value = getattr(hours, each.name)
        if isinstance(value, np.ndarray):
            said.update(np.ascontiguousarray(value).tobytes())
    return said.digest()
