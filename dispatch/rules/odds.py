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


# Rain that touches a period of the forecast touches only a part of it: a spell lasts about
# 3.4 h in New York's 2013, so a wet window of so many hours is hit as (wet + spell) by
# (period + spell).
SPELL_H = 3.4
LONGEST_STRETCH = 1.6
USUAL_WET_H = 7.0  # pour to rain-safe of a two-car floor at 70 °F
# Share of rainy windows whose wind drives it in under a roof with open sides.
DRIVEN_IN = 0.35
# Water settles on a film at about 1 °C over the dew point; the card's 3 °C hold the rest of the
# way against instruments and forecasts. A slab 2 °C under the card's least temperature and one
# 3 °C over its most do not come out; a card keeps so much in hand. Common practice.
DEW_HARM_C, COLD_HARM_C, HEAT_HARM_C = 1.0, 2.0, 3.0
# How wrong a margin is (°C): at once, and by the square root of each day of lead.
DEW_OFF_C, DEW_OFF_A_DAY_C = 1.4, 1.1
SLAB_OFF_C, SLAB_OFF_A_DAY_C = 1.0, 0.7
# A gust at an airport, ten metres up, is stronger than over a patio behind houses.
SHELTER, GUST_OFF = 0.6, 0.30
LOGISTIC = 1.7  # scales a logistic curve to a normal one
SEASON_SHARE = {Cause.DEW: 0.05, Cause.COLD: 0.03, Cause.HEAT: 0.01, Cause.WIND: 0.02}


def odds_spoiled(
    *, margins: Margins, exposure: Exposure, lead_h: float, season: SeasonalOdds
) -> Odds:
    """The odds for one floor poured as planned, `lead_h` hours after the forecast was made."""
    days = max(lead_h, 0.0) / 24
    parts = [
        _beyond(Cause.DEW, margins.over_dew_c, DEW_HARM_C, _off(DEW_OFF_C, DEW_OFF_A_DAY_C, days)),
        _beyond(
            Cause.COLD, margins.over_least_c, -COLD_HARM_C, _off(SLAB_OFF_C, SLAB_OFF_A_DAY_C, days)
        ),
        _beyond(
            Cause.HEAT, margins.under_most_c, -HEAT_HARM_C, _off(SLAB_OFF_C, SLAB_OFF_A_DAY_C, days)
        ),
    ]
    if not exposure.enclosed:
        parts.append(_rain(margins, exposure, season))
    if exposure.open:
        parts.append(_wind(margins.gust_share))
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
        stretch = (margins.wet_h + SPELL_H) / (margins.period_h + SPELL_H)
        share = min(0.99, margins.rain_pct / 100 * min(stretch, LONGEST_STRETCH))
    driven = 1.0 if exposure.open else DRIVEN_IN
    return OddsPart(Cause.RAIN, driven * share, seasonal=margins.rain_pct is None)


def usual_rain(season: SeasonalOdds, wet_h: float) -> float:
    """How often `wet_h` hours of such a month see rain, between its shares of 1 to 24 hours."""
    shares = {24: season.day, 12: season.half_day, 6: season.quarter_day, 1: season.hour}
    lengths = sorted(PERIODS_H)
    known = [shares[length] for length in lengths]
    return float(np.interp(log(max(wet_h, 1.0)), np.log(lengths), known))


def _beyond(cause: Cause, margin: float | None, harm: float, off: float) -> OddsPart:
    """The odds that a margin ends below `harm` when it is `off` by so much as a rule."""
    if margin is None:
        return OddsPart(cause, SEASON_SHARE[cause], seasonal=True)
    return OddsPart(cause, _share_below((harm - margin) / off))


def _wind(gust_share: float | None) -> OddsPart:
    if gust_share is None:
        return OddsPart(Cause.WIND, SEASON_SHARE[Cause.WIND], seasonal=True)
    return OddsPart(Cause.WIND, _share_below(log(max(gust_share * SHELTER, 0.01)) / GUST_OFF))


def _share_below(distance: float) -> float:
    """A logistic curve close to the normal one, with the fatter tails that forecasts have."""
    return 1 / (1 + exp(-LOGISTIC * max(-40.0, min(40.0, distance))))


def _off(at_once: float, a_day: float, days: float) -> float:
    return sqrt(at_once**2 + a_day**2 * days)
