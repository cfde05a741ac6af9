"""How good forecasts are by lead: the published figures, and what they mean for a model.

Days 0 to 2 are measured on stored forecasts of the US National Weather Service; days 3 to
5 follow the shape of an older archive of the same service at 0.8 of its size; what lies
beyond, and every figure for the dew point, is a choice. Temperatures in °C differences.
"""

from functools import lru_cache
from math import erf, sqrt
from statistics import NormalDist

import numpy as np

from weather.rules.hours import Series

C_PER_F = 5 / 9
STEP_H = 12.0
# Hours ahead of the lead days 0 to 10: the same day is taken as 12 h, the others as whole days.
DAY_LEADS_H = np.array([12.0, *(24.0 * day for day in range(1, 11))])
# Steps at which a forecast of one hour is revised: 12, 24, 36 ... 240 h ahead.
STEP_LEADS_H = np.arange(STEP_H, 241.0, STEP_H)

# Standard errors by lead day. 0 to 2: highs of 160 US cities, 2021-22, stored in the public
# repository speegled/weather_forecasts (RMSE 2.60, 2.92 and 3.37 °F at 12, 24 and 48 h); 3 to 5:
# shape of COST-DataExpo-2018 (113 cities, 2014-17); then towards the climate's own 7.3 °F.
AIR_F = np.array([2.6, 2.9, 3.4, 3.9, 4.4, 4.9, 5.4, 5.9, 6.3, 6.6, 6.9])
DEW_F = np.array([3.9, 4.4, 5.1, 5.9, 6.6, 7.4, 8.1, 8.9, 9.5, 9.9, 10.4])
# Brier skill of the chance of a wet day (0.01 inch): 0 to 2 as at Denver, 2014-17.
DAILY_SKILL = np.array([0.45, 0.40, 0.34, 0.28, 0.22, 0.17, 0.12, 0.09, 0.06, 0.04, 0.03])
# A shorter period is harder to hit: our choice, as a share of the day's skill.
SKILL_SHARE = {24: 1.0, 12: 0.9, 6: 0.8, 1: 0.6}

_NORMAL = NormalDist()
# A smooth bell: steps of 0.1 sum it to far more places than any skill is known to.
_GRID = np.linspace(-8.0, 8.0, 161)


def at_leads(by_day: Series, leads_h: Series = STEP_LEADS_H) -> Series:
    """A figure by lead day (0 to 10) read at leads in hours, straight in between."""
    return np.interp(leads_h, DAY_LEADS_H, by_day)


def sigma_c(by_day_f: Series, leads_h: Series = STEP_LEADS_H) -> Series:
    """Standard error (°C) at each lead; variances, not errors, lie on straight lines."""
    return np.sqrt(at_leads((by_day_f * C_PER_F) ** 2, leads_h))


def normal_share(value: Series) -> Series:
    """Share of a standard normal below each value."""
    flat = [0.5 * (1 + erf(each / sqrt(2))) for each in np.ravel(value)]
    return np.array(flat).reshape(np.shape(value))


def threshold(base_rate: float) -> float:
    """The value that a standard normal passes with the chance `base_rate` (0 to 1)."""
    return _NORMAL.inv_cdf(1 - base_rate)


def brier_skill(*, correlation: float, base_rate: float) -> float:
    """Brier skill (against the base rate) of a calibrated probit chance.

    The chance rests on a signal whose correlation with what decides the rain is given.
    """
    density = np.exp(-(_GRID**2) / 2) / np.sqrt(2 * np.pi)
    spread = sqrt(1 - correlation**2)
    chance = normal_share((correlation * _GRID - threshold(base_rate)) / spread)
    variance = np.trapezoid(density * (chance - base_rate) ** 2, _GRID)
    return float(variance / (base_rate * (1 - base_rate)))


@lru_cache(maxsize=512)
def correlation_for(*, skill: float, base_rate: float) -> float:
    """The correlation that gives a wanted Brier skill; the inverse of `brier_skill`."""
    low, high = 0.0, 0.9999
    for _ in range(24):
        middle = (low + high) / 2
        if brier_skill(correlation=middle, base_rate=base_rate) < skill:
            low = middle
        else:
            high = middle
    return (low + high) / 2
