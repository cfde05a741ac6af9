"""Forecasts as they would have been issued over hours that are known, wrong as real ones are.

Each issue of one hour is the last one revised: error(lead) = error(shorter lead) + a step of
its own. That makes an error of two days ahead agree with that of the evening before as it
does in stored forecasts (correlation 0.77 of 12 and 48 h), which independent draws would
not. Chances of rain come from a nested probit: a signal that loses its hold on the truth step
by step, so that every chance is calibrated at its lead. Seeded; pure.
"""

from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.random import Generator, default_rng
from numpy.typing import NDArray

from weather.rules.chance_error import Chances, chances
from weather.rules.forecast_skill import AIR_F, DEW_F, STEP_H, STEP_LEADS_H, at_leads, sigma_c
from weather.rules.hours import HOUR, Hours, Series, floor_hour
from weather.rules.moist_air import humidity_pct

HORIZON_H = 174  # a little over a week, as the US service's grids reach

# Our choices, where nothing hourly was found published: most of an error is the whole day's,
# the rest wanders; air and dew point err together by half; tails as of Student's t.
DAY_SHARE = 0.7
HOUR_MEMORY = 0.95
AIR_WITH_DEW = 0.5
FREEDOM = 6
# Stored forecasts of neighbouring days err alike by 0.17 to 0.29.
DAY_MEMORY = 0.25
# Winter errors of the same archive lie 17 % above the year's, summer's 16 % below.
SEASON = {12: 1.17, 1: 1.17, 2: 1.17, 6: 0.84, 7: 0.84, 8: 0.84}
# Relative error of wind and error of cloud (points) at lead days 0 to 10: choices.
WIND_SHARE = np.linspace(0.15, 0.35, 11)
CLOUD_POINTS = np.linspace(15.0, 35.0, 11)
SNOW_BELOW_C = 1.0
SNOW_DEPTH = 10.0  # mm of snow by mm of water; common practice


@dataclass(frozen=True, eq=False)
class Issues:
    """Every forecast that may be asked for of one place: errors (steps x hours) and chances."""

    truth: Hours
    air_error_c: Series
    dew_error_c: Series
    wind_factor: Series
    cloud_error: Series
    rain: Chances

    def issued(self, at: datetime, *, horizon_h: int = HORIZON_H) -> Hours:
        """The forecast issued at `at`: from its hour on, as far as it and the truth reach."""
        truth = self.truth
        first = truth.index(at)
        last = min(first + horizon_h, len(truth))
        if not 0 <= first < last:
            raise ValueError(f"{at} lies outside the hours that are known")
        cut = slice(first, last)
        hours = np.arange(first, last)
        step = steps_ahead(np.arange(last - first, dtype=np.float64) + 0.5)
        air = truth.air_c[cut] + self.air_error_c[step, hours]
        dew = np.minimum(truth.dew_c[cut] + self.dew_error_c[step, hours], air)
        chance_pct, rain_mm = self.rain.at(hours=hours, step=step)
        cloud = np.clip(truth.cloud_pct[cut] + self.cloud_error[step, hours], 0.0, 100.0)
        return replace(
            Hours.unknown(start=floor_hour(at), count=last - first, source="backtest"),
            air_c=air,
            dew_c=dew,
            humidity_pct=np.asarray(humidity_pct(air_c=air, dew_c=dew)),
            rain_chance_pct=chance_pct,
            rain_mm=rain_mm,
            snow_mm=np.where(air <= SNOW_BELOW_C, SNOW_DEPTH * rain_mm, 0.0),
            wind_kmh=truth.wind_kmh[cut] * self.wind_factor[step, hours],
            gust_kmh=truth.gust_kmh[cut] * self.wind_factor[step, hours],
            cloud_pct=cloud,
            chance_window_h=np.full(last - first, float(self.rain.window_h)),
            issued_at=at,
            fetched_at=at,
        )


def steps_ahead(lead_h: Series) -> NDArray[np.int_]:
    """The row of errors for each lead (h): the next step that is not shorter."""
    rows: NDArray[np.int_] = np.ceil(lead_h / STEP_H).astype(np.int_) - 1
    return np.clip(rows, 0, len(STEP_LEADS_H) - 1)


def issues(truth: Hours, *, seed: int, utc_offset_h: int, sharpness: float = 1.0) -> Issues:
    """All forecasts of a place whose hours are known, drawn from one seed.

    `utc_offset_h` says where its days begin; `sharpness` 0 gives forecasts without error
    (errors are multiplied by it; chances are left alone).
    """
    rng = default_rng(seed)
    days = day_of(truth, utc_offset_h=utc_offset_h)
    season = np.array([SEASON.get(truth.hour(i).month, 1.0) for i in range(len(truth))])
    # One draw a day widens all its errors alike: the sum is then Student's t at every lead.
    tails = np.sqrt((FREEDOM - 2) / rng.chisquare(FREEDOM, size=days[-1] + 1))[days]
    air = chain(rng, sigma=sigma_c(AIR_F), days=days)
    dew = chain(rng, sigma=sigma_c(DEW_F), days=days)
    together = np.asarray(sigma_c(DEW_F) / sigma_c(AIR_F))[:, None] * air
    dew = AIR_WITH_DEW * together + np.sqrt(1 - AIR_WITH_DEW**2) * dew
    wind = chain(rng, sigma=at_leads(WIND_SHARE), days=days)
    cloud = chain(rng, sigma=at_leads(CLOUD_POINTS), days=days)
    return Issues(
        truth=truth,
        air_error_c=air * season * tails * sharpness,
        dew_error_c=dew * season * tails * sharpness,
        wind_factor=np.exp(wind * sharpness),
        cloud_error=cloud * sharpness,
        rain=chances(truth, rng=rng),
    )


def day_of(hours: Hours, *, utc_offset_h: int) -> NDArray[np.int_]:
    """The number of the local day (from 0) in which each hour lies."""
    first = (hours.start + utc_offset_h * HOUR).hour
    return np.array([(position + first) // 24 for position in range(len(hours))])


def chain(rng: Generator, *, sigma: Series, days: NDArray[np.int_]) -> Series:
    """Errors (steps x hours) whose standard deviation grows with the step to `sigma`.

    Each step adds to the one before; a part of it is one value for the whole day.
    """
    grown = np.sqrt(np.diff(np.square(sigma), prepend=0.0))
    whole = remembering(rng, shape=(len(sigma), int(days[-1]) + 1), memory=DAY_MEMORY)
    wandering = remembering(rng, shape=(len(sigma), len(days)), memory=HOUR_MEMORY)
    step = np.sqrt(DAY_SHARE) * whole[:, days] + np.sqrt(1 - DAY_SHARE) * wandering
    errors: Series = np.cumsum(grown[:, None] * step, axis=0)
    return errors


def remembering(rng: Generator, *, shape: tuple[int, int], memory: float) -> Series:
    """Rows of standard normal values, each correlated with its neighbour by `memory`."""
    fresh = rng.standard_normal(shape)
    fresh[:, 1:] *= np.sqrt(1 - memory**2)
    values = np.empty(shape)
    values[:, 0] = fresh[:, 0]
    for position in range(1, shape[1]):
        values[:, position] = memory * values[:, position - 1] + fresh[:, position]
    return values
