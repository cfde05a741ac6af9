"""Chances of rain as a service would have issued them over rain that is known.

A nested probit. For each period a value is drawn that lies above the climate's threshold
exactly if it rained; the service sees it through a signal that grows dimmer with lead, each
dimmer signal made from the clearer one. The chance it issues is the share of such signals
that end in rain, so it is calibrated at every lead and settles down issue by issue.
"""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from weather.rules.forecast_skill import (
    DAILY_SKILL,
    SKILL_SHARE,
    at_leads,
    correlation_for,
    normal_share,
    threshold,
)
from weather.rules.hours import Hours, Series
from weather.rules.seasonal import WET_MM

WINDOW_H = 6  # the usual period of a chance; periods begin at midnight UTC
# Neighbouring periods share their luck: a choice.
PERIOD_MEMORY = 0.6
# Below this chance a service writes no amount. Where it does, the amount is as far from the
# truth as its signal; both are choices, which the chance of a dry window does not rest on.
AMOUNT_FROM_PCT = 50.0
LEAST_RATE, MOST_RATE = 0.02, 0.6


@dataclass(frozen=True, eq=False)
class Chances:
    """Chance (%) and amount (mm in the period) by step and period, and where periods begin."""

    window_h: int
    first_h: int
    chance_pct: Series
    amount_mm: Series

    def at(self, *, hours: NDArray[np.int_], step: NDArray[np.int_]) -> tuple[Series, Series]:
        """Chance (%) of the period and amount (mm) of each hour, the amount spread evenly."""
        period = (hours + self.first_h) // self.window_h
        amount = self.amount_mm[step, period] / self.window_h
        return self.chance_pct[step, period], amount


def chances(truth: Hours, *, rng: Generator, window_h: int = WINDOW_H) -> Chances:
    """Chances of every period of `truth` at every step, drawn from `rng`.

    `window_h` is one of the lengths in `SKILL_SHARE`: 24, 12, 6 or 1.
    """
    first = truth.start.hour % window_h
    fallen_mm = fallen(truth.rain_mm, first=first, window_h=window_h)
    months = _months(truth, first=first, window_h=window_h, count=len(fallen_mm))
    rates = _base_rates(fallen_mm, months)
    limit = np.array([threshold(rate) for rate in rates])
    held = np.array([_holds(float(rate), window_h) for rate in rates]).T  # steps x periods
    wet = np.where(np.isnan(fallen_mm), np.nan, fallen_mm >= WET_MM - 1e-9)
    signal = _signals(rng, drawn=_given(rng, wet=wet, limit=limit), held=held)
    share = normal_share((held * signal - limit) / np.sqrt(1 - held**2))
    chance_pct = np.round(100 * share)
    amount = _amounts(rng, fallen_mm=fallen_mm, held=held)
    amount = np.where(chance_pct >= AMOUNT_FROM_PCT, amount, 0.0)
    return Chances(window_h, first, chance_pct, amount)


def fallen(rain_mm: Series, *, first: int, window_h: int) -> Series:
    """Sums (mm) by period, the first of which began `first` hours before the series.

    NaN where an hour of it is unknown and the known ones brought too little to be wet.
    """
    tail = -(len(rain_mm) + first) % window_h
    parts = np.pad(rain_mm, (first, tail), constant_values=np.nan).reshape(-1, window_h)
    sums: Series = np.nansum(parts, axis=1)
    unknown = np.isnan(parts).any(axis=1) & (sums < WET_MM - 1e-9)
    return np.where(unknown, np.nan, sums)


def _months(truth: Hours, *, first: int, window_h: int, count: int) -> NDArray[np.int_]:
    positions = [period * window_h - first + window_h // 2 for period in range(count)]
    return np.array([truth.hour(position).month for position in positions])


def _base_rates(fallen_mm: Series, months: NDArray[np.int_]) -> Series:
    """How often a period of each one's month is wet in this record."""
    rates = np.empty(len(months))
    for month in np.unique(months):
        known = fallen_mm[(months == month) & ~np.isnan(fallen_mm)]
        share = float((known >= WET_MM - 1e-9).mean()) if len(known) else LEAST_RATE
        rates[months == month] = np.clip(share, LEAST_RATE, MOST_RATE)
    return np.round(rates, 3)


def _holds(base_rate: float, window_h: int) -> Series:
    """How firmly the signal holds the truth at each step, for periods this often wet."""
    skills = at_leads(DAILY_SKILL) * SKILL_SHARE[window_h]
    return np.array([correlation_for(skill=float(s), base_rate=base_rate) for s in skills])


def _given(rng: Generator, *, wet: Series, limit: Series) -> Series:
    """Standard normal values that pass `limit` where it was wet and stay below where dry."""
    drawn = rng.standard_normal(len(wet))
    wrong = ~np.isnan(wet) & ((drawn > limit) != (wet > 0))
    while wrong.any():
        drawn[wrong] = rng.standard_normal(int(wrong.sum()))
        wrong = ~np.isnan(wet) & ((drawn > limit) != (wet > 0))
    return drawn


def _signals(rng: Generator, *, drawn: Series, held: Series) -> Series:
    """The service's signal at each step (steps x periods), each made from the clearer one."""
    kept = np.concatenate([held[:1], held[1:] / held[:-1]])
    signals = np.empty_like(held)
    clearer = drawn
    for step, keep in enumerate(kept):
        clearer = keep * clearer + np.sqrt(1 - keep**2) * _neighbourly(rng, len(drawn))
        signals[step] = clearer
    return signals


def _neighbourly(rng: Generator, count: int) -> Series:
    values = rng.standard_normal(count)
    for position in range(1, count):
        fresh = np.sqrt(1 - PERIOD_MEMORY**2) * values[position]
        values[position] = PERIOD_MEMORY * values[position - 1] + fresh
    return values


def _amounts(rng: Generator, *, fallen_mm: Series, held: Series) -> Series:
    """Amounts (steps x periods) for periods that are said to be wet.

    Between what fell and a usual amount by how much the signal holds; where nothing fell, one
    of the year's wet periods.
    """
    wet = fallen_mm[fallen_mm >= WET_MM - 1e-9]
    if not len(wet):
        return np.zeros_like(held)
    lost = ~(fallen_mm >= WET_MM - 1e-9)
    meant = np.where(lost, rng.choice(wet, size=len(fallen_mm)), fallen_mm)
    usual = float(np.median(wet))
    weight = held**2
    off = np.sqrt(1 - weight) * rng.standard_normal(len(fallen_mm))
    amounts: Series = np.exp(weight * np.log(meant) + (1 - weight) * np.log(usual) + 0.5 * off)
    return amounts
