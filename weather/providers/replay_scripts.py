"""Invented weather for demos: a few days each, told as a low, a high and what falls. Pure.

Ours, made up for the trade: nothing here was measured anywhere. A script says what the days
after the demo's first day bring; before and after them its ordinary day repeats, a little
different from day to day and from place to place, and always the same for the same day.
"""

from dataclasses import dataclass, replace
from datetime import date
from math import cos, pi, sin


@dataclass(frozen=True)
class Day:
    """One local day: air from `low_c` before dawn to `high_c` in the afternoon.

    `wet` is the part of the day with rain, as (first hour, hour after the last), local.
    `dew_c` holds from noon; through the night it slides there from the day before.
    """

    low_c: float
    high_c: float
    dew_c: float
    chance_pct: float = 5.0
    wet: tuple[int, int] | None = None
    rain_mm: float = 0.0
    wind_kmh: float = 10.0
    gust_kmh: float = 18.0
    cloud_pct: float = 30.0


@dataclass(frozen=True)
class Script:
    """An ordinary day, and the days that differ by their distance from the first day."""

    usual: Day
    days: dict[int, Day]


MILD_DAY = Day(low_c=12, high_c=23, dew_c=8)
RAINY_MORNING = Day(
    low_c=13, high_c=18, dew_c=13, chance_pct=75, wet=(5, 11), rain_mm=9, cloud_pct=92
)
WET_AFTERNOON = Day(
    low_c=15, high_c=24, dew_c=14, chance_pct=65, wet=(14, 19), rain_mm=7, gust_kmh=34, cloud_pct=75
)
COLD_DAY = Day(low_c=-4, high_c=6, dew_c=-6, cloud_pct=15)
# Warm, damp air over slabs that are still cold: the day on which floors sweat indoors.
WARM_FRONT = Day(low_c=4, high_c=15, dew_c=12, chance_pct=35, cloud_pct=95, wind_kmh=18)
HOT_DAY = Day(low_c=24, high_c=35, dew_c=18, cloud_pct=10)
STORMY_EVENING = Day(
    low_c=24, high_c=34, dew_c=22, chance_pct=40, wet=(17, 20), rain_mm=12, gust_kmh=60
)
WINDY_DAY = Day(low_c=11, high_c=21, dew_c=6, wind_kmh=32, gust_kmh=52)

SCRIPTS = {
    "mild": Script(MILD_DAY, {5: RAINY_MORNING, 8: WARM_FRONT}),
    "wet_afternoon": Script(
        MILD_DAY, {2: WET_AFTERNOON, 3: replace(MILD_DAY, dew_c=12, cloud_pct=60), 6: RAINY_MORNING}
    ),
    "cold_snap": Script(
        replace(MILD_DAY, low_c=4, high_c=14, dew_c=2),
        {**dict.fromkeys(range(-2, 3), COLD_DAY), 3: WARM_FRONT, 4: RAINY_MORNING},
    ),
    "hot": Script(HOT_DAY, {4: STORMY_EVENING}),
    "windy": Script(MILD_DAY, {1: WINDY_DAY, 2: WINDY_DAY}),
}
DEFAULT = "mild"


def day_of(script: str, *, day: date, first_day: date, seed: float) -> Day:
    """What `script` brings on `day`; an unknown script is played as mild.

    `seed` sets places apart: a degree or two, a few tenths of a sky.
    """
    chosen = SCRIPTS.get(script, SCRIPTS[DEFAULT])
    told = chosen.days.get((day - first_day).days)
    if told is not None:
        return told
    return _varied(chosen.usual, turn=day.toordinal() + seed)


def _varied(usual: Day, *, turn: float) -> Day:
    """The ordinary day moved a little, in slow waves that do not repeat within weeks."""
    warmer = 1.6 * sin(turn * 2 * pi / 6.3) + 0.9 * sin(turn * 2 * pi / 2.7)
    return replace(
        usual,
        low_c=usual.low_c + 0.7 * warmer,
        high_c=usual.high_c + warmer,
        dew_c=usual.dew_c + 0.6 * warmer,
        cloud_pct=max(0.0, min(100.0, usual.cloud_pct + 22 * sin(turn * 2 * pi / 4.1))),
        wind_kmh=max(3.0, usual.wind_kmh + 4 * cos(turn * 2 * pi / 3.3)),
        gust_kmh=max(6.0, usual.gust_kmh + 7 * cos(turn * 2 * pi / 3.3)),
    )
