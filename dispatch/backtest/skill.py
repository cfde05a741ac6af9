"""The skill of the forecasts made here, measured on the real hours, beside the published one."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.random import default_rng

from dispatch.backtest.real_hours import UTC_OFFSET_H
from weather.rules.chance_error import chances, fallen
from weather.rules.forecast_error import Issues, issues
from weather.rules.forecast_skill import C_PER_F, STEP_LEADS_H
from weather.rules.hours import Hours, Series
from weather.rules.seasonal import WET_MM

# Highs of the US National Weather Service for 160 US cities, 2021-22 (public repository
# speegled/weather_forecasts), and its daily chances of 0.01 inch at Denver, 2014-17 (public
# repository COST-DataExpo-2018).
RMSE_F = {12: 2.60, 24: 2.92, 36: 3.15, 48: 3.37}
TOGETHER = {(12, 24): 0.859, (24, 48): 0.851, (12, 48): 0.769}
DAILY_BRIER_SKILL = {0: 0.43, 1: 0.39, 2: 0.34}
AFTERNOON_UTC = 20  # 3 PM at the airports, when the day's high is near
SEEDS = 4


@dataclass(frozen=True)
class SkillRow:
    """One figure, as published and as found here."""

    what: str
    published: float
    here: float


def skill_rows(truth: Hours, *, seed: int) -> Iterator[SkillRow]:
    """Every published figure beside its own, over some seeds of one year."""
    made = [issues(truth, seed=seed + n, utc_offset_h=UTC_OFFSET_H) for n in range(SEEDS)]
    for lead_h, published in RMSE_F.items():
        here = float(np.sqrt((_afternoons_f(made, lead_h) ** 2).mean()))
        yield SkillRow(f"error of the high {lead_h} h ahead, RMSE °F", published, here)
    for (short_h, long_h), published in TOGETHER.items():
        pair = _afternoons_f(made, short_h), _afternoons_f(made, long_h)
        here = float(np.corrcoef(*pair)[0, 1])
        yield SkillRow(f"errors at {short_h} and {long_h} h, correlation", published, here)
    for day, published in DAILY_BRIER_SKILL.items():
        skills = [daily_skill(truth, seed=seed + n, lead_h=max(12, 24 * day)) for n in range(SEEDS)]
        yield SkillRow(
            f"chance of a wet day, {day} d ahead, Brier skill", published, float(np.mean(skills))
        )


def daily_skill(truth: Hours, *, seed: int, lead_h: float) -> float:
    """Brier skill of one year's daily chances against how often it is wet."""
    made = chances(truth, rng=default_rng(seed), window_h=24)
    rain_mm = fallen(truth.rain_mm, first=made.first_h, window_h=24)
    known = ~np.isnan(rain_mm)
    wet = rain_mm[known] >= WET_MM - 1e-9
    said = made.chance_pct[_step(lead_h)][known] / 100
    base = wet.mean()
    return float(1 - ((said - wet) ** 2).mean() / (base * (1 - base)))


def _afternoons_f(made: list[Issues], lead_h: float) -> Series:
    errors = []
    for each in made:
        first = (AFTERNOON_UTC - each.truth.start.hour) % 24
        errors.append(each.air_error_c[_step(lead_h)][first::24] / C_PER_F)
    return np.concatenate(errors)


def _step(lead_h: float) -> int:
    return int(np.flatnonzero(lead_h == STEP_LEADS_H)[0])
