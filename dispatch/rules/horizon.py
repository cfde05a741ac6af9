"""Beyond the horizon of the forecast: a stand-in for the slab, never for the weather.

A day three weeks ahead needs some slab temperature to know how long the floor takes. Its
stand-in is the mean day of the last hours known, with a band as wide as a season's swing,
marked weak. The weather itself stays unknown there, so no verdict can turn green on it.
"""

from dataclasses import replace
from datetime import datetime

import numpy as np

from weather.rules.hours import HOUR, SlabHours, floor_hour

PATTERN_H = 72
# Day-to-day spread of air about its season is 4 °C (7.3 °F) in a coastal year of hourly
# records; a slab follows with less, so twice that bounds it.
BAND_C = 6.0


def known_until(slab: SlabHours) -> datetime:
    """The end of the last known hour; the start of the series where none is known."""
    known = np.flatnonzero(~np.isnan(slab.mid_c))
    last = int(known[-1]) + 1 if len(known) else 0
    return slab.start + last * HOUR


def extended(slab: SlabHours, until: datetime) -> SlabHours:
    """`slab` carried on to `until` by its mean last days; unchanged where it reaches that far."""
    known = np.flatnonzero(~np.isnan(slab.mid_c))
    if len(known) < 24:  # less than a day says nothing about the next
        return slab
    last = int(known[-1]) + 1
    wanted = int((floor_hour(until) - slab.start) / HOUR) + 1
    if wanted <= last:
        return slab
    recent = slab.mid_c[max(0, last - PATTERN_H) : last]
    by_hour = [np.nanmean(recent[-(24 - hour) :: -24]) for hour in range(24)]
    carried = np.array([by_hour[i % 24] for i in range(wanted - last)])
    return replace(
        slab,
        mid_c=np.concatenate([slab.mid_c[:last], carried]),
        cold_c=np.concatenate([slab.cold_c[:last], carried - BAND_C]),
        warm_c=np.concatenate([slab.warm_c[:last], carried + BAND_C]),
    )
