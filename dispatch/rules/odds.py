"""Odds that a floor is spoiled if it is poured as planned, from what a verdict found.

Each cause by itself: rain while the floor is wet, water from the air, a slab too cold or too
hot, wind over open flake. Chances of hours are never multiplied; the highest of the wet window
counts, shortened or stretched to its length. Margins of temperature and wind are held against
how wrong a forecast of that lead usually is. What the forecast does not reach is answered by
the season, never by nothing. Calibrated on a year of real hours (`manage.py backtest --odds`).

Not in it: what a crew that looks prevents, such as pouring into rain that falls or on to a slab
that is visibly wet.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from math import exp, isnan, log, log1p, sqrt

import numpy as np

from dispatch.rules.findings import Check, Stretch
from jobs.rules.cards import Card
from jobs.rules.plan import Plan
from weather.rules.exposures import Exposure
from weather.rules.hours import HOUR, Hours
from weather.rules.seasonal import PERIODS_H, SeasonalOdds


class Cause(StrEnum):
    """What spoils a floor."""

    RAIN = "rain"
    DEW = "dew"
    COLD = "cold"
    HEAT = "heat"
    WIND = "wind"


@dataclass(frozen=True)
class OddsPart:
    """The odds (0 to 1) of one cause; `seasonal` where only the season answers for it."""

    cause: Cause
    share: float
    seasonal: bool = False


@dataclass(frozen=True)
class Odds:
    """Odds that a floor is spoiled, cause by cause, the likeliest first."""

    parts: tuple[OddsPart, ...]

    @property
    def total(self) -> float:
        """Of all causes together (0 to 1): that each of them stays away."""
        left = 0.0
        for part in self.parts:
            left += log1p(-min(part.share, 0.999))
        return 1 - exp(left)

    @property
    def seasonal(self) -> bool:
        """Whether any part of it rests on the season alone."""
        return any(part.seasonal for part in self.parts)

    def of(self, cause: Cause) -> float:
        """The odds of one cause; 0 where it cannot touch this floor."""
        return next((part.share for part in self.parts if part.cause is cause), 0.0)


@dataclass(frozen=True, kw_only=True)
class Margins:
    """What a forecast leaves between a plan and its limits; None is unknown.

    `rain_pct` is the highest chance of the wet window, written for periods of `period_h`
    hours. `over_dew_c` is the slab's smallest margin over the dew point, `over_least_c` and
    `under_most_c` its distance from the card's limits (negative beyond them), `gust_share` the
    strongest gust by its limit.
    """

    wet_h: float
    rain_pct: float | None
    period_h: float = 6.0
    over_dew_c: float | None = None
    over_least_c: float | None = None
    under_most_c: float | None = None
    gust_share: float | None = None


# What follows was fitted by likelihood to a year of real hours at Newark and LaGuardia, on
# floors poured as planned in a world unlike the plan's (`dispatch/backtest`), and is held
# against Kennedy; dew alone rests on all three, since the coast is damper than either.
# The harm itself is the backtest's and a choice there.
#
# Rain that touches a period of the forecast touches only a part of it, so a chance counts by
# the wet window's length over the period's; a long one is hit little oftener than its worst.
STRETCH_POWER, LONGEST_STRETCH = 1.5, 1.15
# Share of rainy windows in which wind drives it in under a roof with open sides.
DRIVEN_IN = 0.55
USUAL_WET_H = 7.0  # pour to rain-safe of a two-car floor at 70 °F
# Margins (°C) at which harm is as likely as not, and how wrong a margin is at once and by the
# square root of each day of lead.
GARAGE_DEW_HARM_C, GARAGE_DEW_OFF_C, GARAGE_DEW_OFF_A_DAY_C = -1.7, 2.5, 1.3
DEW_HARM_C, DEW_OFF_C, DEW_OFF_A_DAY_C = -5.0, 3.2, 0.5
COLD_HARM_C, COLD_OFF_C, COLD_OFF_A_DAY_C = -3.6, 1.5, 0.3
HEAT_HARM_C, HEAT_OFF_C, HEAT_OFF_A_DAY_C = -3.4, 2.3, 1.1
# A gust at an airport, ten metres up, is stronger than over a patio behind houses.
SHELTER, GUST_OFF, GUST_OFF_A_DAY = 0.46, 0.42, 0.10
LOGISTIC = 1.7  # scales a logistic curve to a normal one
# How often each came over all those floors: what stands where nothing is known.
USUAL_SHARE = {Cause.DEW: 0.03, Cause.COLD: 0.01, Cause.HEAT: 0.12, Cause.WIND: 0.13}


def odds_spoiled(
    *, margins: Margins, exposure: Exposure, lead_h: float, season: SeasonalOdds
) -> Odds:
    """The odds for one floor poured as planned, `lead_h` hours after the forecast was made."""
    days = max(lead_h, 0.0) / 24
    cold = _off(COLD_OFF_C, COLD_OFF_A_DAY_C, days)
    heat = _off(HEAT_OFF_C, HEAT_OFF_A_DAY_C, days)
    parts = [
        _dew(margins.over_dew_c, exposure, days),
        _beyond(Cause.COLD, margins.over_least_c, harm_c=COLD_HARM_C, off_c=cold),
        _beyond(Cause.HEAT, margins.under_most_c, harm_c=HEAT_HARM_C, off_c=heat),
    ]
    if not exposure.enclosed:
        parts.append(_rain(margins, exposure, season))
    if exposure.open:
        parts.append(_wind(margins.gust_share, days))
    return Odds(tuple(sorted(parts, key=lambda part: -part.share)))


def margins_of(*, checks: Sequence[Check], plan: Plan, card: Card, hours: Hours | None) -> Margins:
    """The margins of a plan: of dew and wind from the verdict's checks, the rest its own.

    Where it is not known when the floor is rain-safe, it is taken as wet for `USUAL_WET_H`.
    """
    end = plan.rain_safe or plan.pour + USUAL_WET_H * HOUR
    rain_pct, period_h = _chance(hours, plan.pour, end)
    coats = [at for at in (plan.slab_at_pour_c, plan.slab_at_top_c) if not isnan(at)]
    gaps = [each.value for each in checks if each.name == "dew" and each.value is not None]
    gusts = [
        each.value / each.limit
        for each in checks
        if each.name == "wind" and each.value is not None and each.limit
    ]
    return Margins(
        wet_h=(end - plan.pour) / HOUR,
        rain_pct=rain_pct,
        period_h=period_h,
        over_dew_c=min(gaps, default=None),
        over_least_c=min(coats) - card.slab_min_c if coats else None,
        under_most_c=card.slab_max_c - max(coats) if coats else None,
        gust_share=max(gusts, default=None),
    )


def _chance(hours: Hours | None, start: datetime, end: datetime) -> tuple[float | None, float]:
    """The highest chance (%) between two moments and its period (h); None if an hour lacks one."""
    if hours is None:
        return None, 1.0
    chance, period = (
        Stretch.cut(series_start=hours.start, values=layer, start=start, end=end).values
        for layer in (hours.rain_chance_pct, hours.chance_window_h)
    )
    if not len(chance) or np.isnan(chance).any():
        return None, 1.0
    top = int(np.argmax(chance))
    return float(chance[top]), float(period[top])


def _rain(margins: Margins, exposure: Exposure, season: SeasonalOdds) -> OddsPart:
    """Rain on the wet floor: the highest chance, brought to the length of the wet window."""
    if margins.rain_pct is None:
        share = usual_rain(season, margins.wet_h)
    else:
        stretch = (margins.wet_h / margins.period_h) ** STRETCH_POWER
        share = min(0.99, margins.rain_pct / 100 * min(stretch, LONGEST_STRETCH))
    driven = 1.0 if exposure.open else DRIVEN_IN
    return OddsPart(Cause.RAIN, driven * share, seasonal=margins.rain_pct is None)


def usual_rain(season: SeasonalOdds, wet_h: float) -> float:
    """How often `wet_h` hours of such a month see rain, between its shares of 1 to 24 hours."""
    shares = {24: season.day, 12: season.half_day, 6: season.quarter_day, 1: season.hour}
    lengths = sorted(PERIODS_H)
    known = [shares[length] for length in lengths]
    return float(np.interp(log(max(wet_h, 1.0)), np.log(lengths), known))


def _dew(over_dew_c: float | None, exposure: Exposure, days: float) -> OddsPart:
    """Water from the air; a closed garage's slab stays cold for days and sweats the oftenest."""
    harm_c, off_c = DEW_HARM_C, _off(DEW_OFF_C, DEW_OFF_A_DAY_C, days)
    if exposure.enclosed:
        harm_c = GARAGE_DEW_HARM_C
        off_c = _off(GARAGE_DEW_OFF_C, GARAGE_DEW_OFF_A_DAY_C, days)
    return _beyond(Cause.DEW, over_dew_c, harm_c=harm_c, off_c=off_c)


def _beyond(cause: Cause, margin_c: float | None, *, harm_c: float, off_c: float) -> OddsPart:
    """The odds that a margin ends below `harm_c` when it is `off_c` wrong as a rule."""
    if margin_c is None:
        return OddsPart(cause, USUAL_SHARE[cause], seasonal=True)
    return OddsPart(cause, _share_below((harm_c - margin_c) / off_c))


def _wind(gust_share: float | None, days: float) -> OddsPart:
    if gust_share is None:
        return OddsPart(Cause.WIND, USUAL_SHARE[Cause.WIND], seasonal=True)
    off = _off(GUST_OFF, GUST_OFF_A_DAY, days)
    return OddsPart(Cause.WIND, _share_below(log(max(gust_share * SHELTER, 0.01)) / off))


def _share_below(distance: float) -> float:
    """A logistic curve close to the normal one, with the fatter tails that forecasts have."""
    return 1 / (1 + exp(-LOGISTIC * max(-40.0, min(40.0, distance))))


def _off(at_once: float, a_day: float, days: float) -> float:
    return sqrt(at_once**2 + a_day**2 * days)
