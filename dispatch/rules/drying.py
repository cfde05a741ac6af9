"""Drying: when a wetted open slab would look dry, reckoned where nobody looked.

Free water on concrete goes by the evaporation of P. J. Uno, Plastic Shrinkage Cracking and
Evaporation Formulas, ACI Materials Journal 95 (1998), from memory, in still air on a shaded
slab as warm as the air. Wind and sun only make it quicker, so the shaded half is never later
than this, and a calmer or cloudier forecast never makes a floor damper.
"""

from datetime import datetime, timedelta

import numpy as np

from weather.rules.hours import HOUR, Series

# What stays on a broomed slab once it has drained, our choice: with it a slab that rain left
# at midnight looks dry in the afternoon of a fair spring day, which is common experience.
FILM_MM = 0.3
STILL_KMH = 0.0
LONGEST = timedelta(hours=24)


def evaporation_mm_h(*, air_c: Series, humidity_pct: Series) -> Series:
    """Water (mm an hour) that leaves a wet slab as warm as the air; none where unknown."""
    warmth = np.maximum(air_c + 18.0, 0.0) ** 2.5
    dry = np.clip(1 - humidity_pct / 100, 0, 1)
    rate: Series = np.nan_to_num(5e-6 * warmth * dry * (STILL_KMH + 4.0))
    return rate


def looks_dry_at(
    *, start: datetime, wetted: datetime, air_c: Series, humidity_pct: Series
) -> datetime | None:
    """When the film of a wetting at `wetted` has gone; None for one outside the hours given.

    The series begin at `start`, a whole hour. An hour that is not known dries nothing, but a
    day after the wetting every slab counts as dry to the eye: what it still holds is asked of
    a meter.
    """
    gone = evaporation_mm_h(air_c=air_c, humidity_pct=humidity_pct)
    first_h = (wetted - start) / HOUR
    first = int(first_h)
    if first_h < 0 or first >= len(gone):
        return None
    gone = gone[first:].copy()
    gone[0] *= 1 - (first_h - first)
    done = np.flatnonzero(np.cumsum(gone) >= FILM_MM)
    latest = wetted + LONGEST
    return min(latest, start + (first + int(done[0]) + 1) * HOUR) if len(done) else latest
