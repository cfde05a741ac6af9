"""A temperature measured on the slab, and what it does to an estimate."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from weather.rules.exposures import Exposure
from weather.rules.hours import HOUR, SlabHours
from weather.rules.slab_band import after_reading_c, reading_weight

READING_HOLDS = timedelta(hours=48)  # a reading this fresh stands in for a missing past
BESIDE_H = 6  # a slab hardly changes in so many hours beside what the day does to it


@dataclass(frozen=True)
class SlabReading:
    """A temperature measured on the concrete itself."""

    at: datetime
    slab_c: float


def anchored(
    estimate: SlabHours, *, reading: SlabReading, exposure: Exposure, now: datetime
) -> SlabHours:
    """The estimate moved to pass through a reading, the more so the nearer the hour.

    The difference fades over days, and the band is the instrument's own beside it. A fresh
    reading stands in for a past that is not known. One made further than six hours from any
    known hour has nothing to be compared with and changes nothing.
    """
    modelled_c = _nearest_c(estimate, reading.at)
    if np.isnan(modelled_c) or np.isnan(reading.slab_c):
        return estimate
    apart_h = (
        np.arange(len(estimate), dtype=np.float64) + 0.5 - (reading.at - estimate.start) / HOUR
    )
    weight = reading_weight(exposure=exposure, apart_h=apart_h)
    mid = estimate.mid_c + (reading.slab_c - modelled_c) * weight
    half = after_reading_c(half_c=estimate.warm_c - estimate.mid_c, weight=weight)
    fresh = timedelta(0) <= now - reading.at <= READING_HOLDS
    return replace(
        estimate,
        mid_c=mid,
        cold_c=mid - half,
        warm_c=mid + half,
        weak=estimate.weak and not fresh,
        basis=f"a reading of {reading.slab_c:.1f} °C and {estimate.basis}",
    )


def _nearest_c(estimate: SlabHours, at: datetime) -> float:
    """The estimate in the hour of `at`, or in the nearest known one beside it; NaN if none is."""
    known = np.flatnonzero(~np.isnan(estimate.mid_c))
    if not len(known):
        return float("nan")
    apart = np.abs(known - estimate.index(at))
    nearest = int(apart.argmin())
    return float(estimate.mid_c[known[nearest]]) if apart[nearest] <= BESIDE_H else float("nan")
