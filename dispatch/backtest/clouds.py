"""Clouds that might have been over hours whose record has none: stated and seeded.

Damp air and rain bring cloud, and cloud lasts for half a day. Open slabs need one; nothing is
claimed of the sky of a given hour.
"""

import numpy as np

from weather.rules.hours import Series

# A sky is half covered on average at the coast; damp air is cloudier by a point for each point
# of humidity over 65 %. Common practice, not a fit.
USUAL_PCT, USUAL_HUMIDITY_PCT = 50.0, 65.0
POINTS_BY_HUMIDITY = 1.0
SPREAD_POINTS = 30.0
MEMORY = 0.92  # from one hour to the next, so that half is left after eight
AROUND_RAIN_H = 2


def cloud_pct(*, humidity: Series, rain_mm: Series, seed: int) -> Series:
    """Cloud (% of the sky) by the hour: 100 around rain, else by humidity and a wandering part."""
    rng = np.random.default_rng([seed, 7])
    steps = rng.standard_normal(len(humidity)) * np.sqrt(1 - MEMORY**2)
    wander = np.empty(len(humidity))
    last = rng.standard_normal()
    for position, step in enumerate(steps):
        last = MEMORY * last + step
        wander[position] = last
    damp = POINTS_BY_HUMIDITY * (
        np.nan_to_num(humidity, nan=USUAL_HUMIDITY_PCT) - USUAL_HUMIDITY_PCT
    )
    cloud = np.clip(USUAL_PCT + damp + SPREAD_POINTS * wander, 0.0, 100.0)
    rained = np.nan_to_num(rain_mm) > 0
    near = np.convolve(rained, np.ones(2 * AROUND_RAIN_H + 1), mode="same") > 0
    return np.where(near, 100.0, cloud)
