"""How wrong a slab estimate may be: half the width of its band, hour by hour.

Four doubts add as squares: the model itself, the past that is not known, the forecast, and
sun and sky. The sizes are judgement (about eight slabs in ten should lie inside) and are
meant to be tuned on readings taken on site.
"""

from datetime import datetime
from functools import lru_cache

import numpy as np

from weather.rules.exposures import Exposure
from weather.rules.hours import HOUR, Hours, Series
from weather.rules.slab_air import Felt
from weather.rules.slab_formulas import air_step_share, wave_through_film

# The apron is the coldest place of a garage, up to 3 °C under the rest on one installer's
# meter; the others are common practice.
MODEL_C = {
    Exposure.INTERIOR: 2.0,
    Exposure.GARAGE: 1.8,
    Exposure.APRON: 2.5,
    Exposure.CARPORT: 2.0,
    Exposure.PORCH: 2.0,
    Exposure.OPEN: 2.0,
    Exposure.POOL_DECK: 2.0,
}
PAST_C = 6.0  # error of a past that is only guessed; two weeks of weather beside its normal
AIR_C, AIR_GROWTH_C_PER_DAY = 0.8, 0.3  # error of forecast air now, and its growth with lead
SUN_DOUBT, SKY_DOUBT = 0.25, 0.4  # share of the sun and sky terms that may be wrong
CLOUD_UNKNOWN_DOUBT = 0.6
INSTRUMENT_C = 1.0  # infrared thermometer on bare concrete; common practice
READING_FADES_H = 72.0  # a reading's hold on the estimate falls to 1/e in this time
READING_FADES_OPEN_H = 24.0  # outdoors the surface forgets sooner


def half_width_c(
    *, exposure: Exposure, felt: Felt, run_h: Series, lead_h: Series, cloud_pct: Series
) -> Series:
    """Half the band (°C) of each hour before any reading.

    `run_h` is how many hours of known air each hour rests on, `lead_h` how far it lies
    beyond the issue of the forecast (0 for the past).
    """
    inside = exposure is Exposure.INTERIOR
    past = 0.0 if inside else PAST_C * _past_weight(felt.film_w_m2k, run_h)
    # A forecast that is off is off for a day or so: the slab takes that up like a day's wave.
    air = 0.0 if inside else AIR_C + AIR_GROWTH_C_PER_DAY * lead_h / 24
    gain = _day_share(felt.film_w_m2k)
    unknown_cloud = np.isnan(cloud_pct)
    sun = np.where(unknown_cloud, CLOUD_UNKNOWN_DOUBT, SUN_DOUBT) * felt.sun_c * gain
    sky = np.where(unknown_cloud, 1.0, SKY_DOUBT) * felt.sky_c * gain
    whole: Series = np.sqrt(MODEL_C[exposure] ** 2 + past**2 + (air * gain) ** 2 + sun**2 + sky**2)
    return whole


def lead_h(*, hours: Hours, now: datetime) -> Series:
    """How far (h) each hour lies beyond the issue of the forecast; 0 for hours gone by."""
    issued = min(now, hours.issued_at or now)
    position = np.arange(len(hours), dtype=np.float64)
    lead: Series = np.maximum(position - (issued - hours.start) / HOUR, 0.0)
    return np.where(position < hours.index(now), 0.0, lead)


def reading_weight(*, exposure: Exposure, apart_h: Series) -> Series:
    """How much (0..1) a reading `apart_h` hours away still says about each hour."""
    fades_h = READING_FADES_OPEN_H if exposure.open else READING_FADES_H
    weight: Series = np.exp(-np.abs(apart_h) / fades_h)
    return weight


def after_reading_c(*, half_c: Series, weight: Series) -> Series:
    """Half the band once a reading has spoken: the instrument's own near it."""
    return np.minimum(half_c, INSTRUMENT_C * weight + half_c * (1 - weight))


def _past_weight(film_w_m2k: Series, run_h: Series) -> Series:
    film = float(np.median(film_w_m2k)) if len(film_w_m2k) else 0.0
    weights = _forgetting(round(film * 2) / 2, len(run_h) + 1)
    faded: Series = weights[run_h.astype(int)]
    return faded


@lru_cache(maxsize=256)
def _forgetting(film: float, count: int) -> Series:
    """What weight a wrong past still has after 0, 1, 2 ... hours under this film."""
    return np.array([1 - air_step_share(film_w_m2k=film, after_s=3600.0 * h) for h in range(count)])


def _day_share(film_w_m2k: Series) -> Series:
    levels, at = np.unique(film_w_m2k, return_inverse=True)
    shares: Series = np.array([_share(float(film)) for film in levels])[at]
    return shares


@lru_cache(maxsize=256)
def _share(film: float) -> float:
    return wave_through_film(film_w_m2k=film).share
