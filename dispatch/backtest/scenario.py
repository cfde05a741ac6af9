"""The invented contractor and the floors that are ordered of him, from a file and a seed."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.random import Generator, default_rng

from jobs.rules.cards import Card
from jobs.rules.catalogue import ONE_DAY, WINTER
from jobs.rules.plan import Work
from weather.rules.exposures import Exposure

FILE = Path(__file__).with_name("scenario.toml")
# Unseen offsets and films come in so many levels, so that one slab of each serves all floors.
LEVELS = 5


@dataclass(frozen=True)
class Prices:
    """What things cost; dollars, and days of notice over which a late move grows cheap."""

    floor_m2: float
    spoiled_floor: float
    spoiled_m2: float
    crew_day_lost: float
    customer_moved: float
    customer_moved_late: float
    notice_fades_days: float
    promise_broken: float
    day_beyond_need: float
    waiting_a_day: float
    not_done: float


@dataclass(frozen=True)
class Unseen:
    """What is true of one floor and known to nobody: offsets by level, factors, minutes."""

    garage_level: int
    film_level: int
    cure: float
    labour: float
    start_min: float
    shelter: float


@dataclass(frozen=True)
class Order:
    """One floor that somebody orders."""

    number: int
    ordered_on: date
    exposure: Exposure
    work: Work
    unseen: Unseen


@dataclass(frozen=True)
class Scenario:
    """The contractor: season, crews, demand and prices."""

    first_day: date
    last_day: date
    last_order: date
    holidays: frozenset[date]
    crews: int
    people: int
    starts: time
    other_starts: tuple[time, ...]
    ends: time
    travel_min: int
    winter_months: frozenset[int]
    prices: Prices
    table: Mapping[str, Any]

    @classmethod
    def read(cls, *, quick: bool = False, path: Path = FILE) -> "Scenario":
        """The scenario of the file; `quick` is its short season."""
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        season, crews = table["season"], table["crews"]
        which = "quick_" if quick else ""
        return cls(
            first_day=season[f"{which}first_day"],
            last_day=season[f"{which}last_day"],
            last_order=season[f"{which}last_order"],
            holidays=frozenset(season["holidays"]),
            crews=crews["count"],
            people=crews["people"],
            starts=time.fromisoformat(crews["starts"]),
            other_starts=tuple(time.fromisoformat(at) for at in crews["other_starts"]),
            ends=time.fromisoformat(crews["ends"]),
            travel_min=crews["travel_min"],
            winter_months=frozenset(table["orders"]["winter_months"]),
            prices=Prices(**table["prices"]),
            table=table,
        )

    def works_on(self, day: date) -> bool:
        """Whether crews go out that day."""
        return (
            self.first_day <= day <= self.last_day
            and day.weekday() < 5
            and day not in self.holidays
        )

    def days(self) -> list[date]:
        """Every day of the season, working or not."""
        count = (self.last_day - self.first_day).days + 1
        return [self.first_day + timedelta(days=n) for n in range(count)]

    def card(self, day: date) -> Card:
        """The system that is used on a day."""
        return WINTER if day.month in self.winter_months else ONE_DAY

    def must_end(self, day: date, zone: ZoneInfo) -> datetime:
        """When everybody must have left."""
        return datetime.combine(day, self.ends, tzinfo=zone)

    def orders(self, *, seed: int) -> list[Order]:
        """The season's orders by day, drawn from one seed and the same for every policy."""
        rng = default_rng([seed, 13])
        found: list[Order] = []
        for day in self.days():
            if day > self.last_order or not self.works_on(day):
                continue
            for _ in range(int(rng.poisson(self.table["orders"]["a_working_day"]))):
                found.append(self._order(len(found), day, rng))
        return found

    def _order(self, number: int, day: date, rng: Generator) -> Order:
        table = self.table["orders"]
        area = table["usual_area_m2"] * np.exp(table["area_spread"] * rng.standard_normal())
        area = float(np.clip(area, *table["area_m2"]))
        names = list(self.table["exposures"])
        shares = np.array(list(self.table["exposures"].values()))
        exposure = Exposure(names[int(rng.choice(len(names), p=shares / shares.sum()))])
        work = Work(
            area_m2=round(area, 1),
            edge_m=round(4.2 * area**0.5, 1),
            crack_m=round(float(rng.exponential(3.0)), 1),
        )
        return Order(number, day, exposure, work, self._unseen(rng))

    def _unseen(self, rng: Generator) -> Unseen:
        table = self.table["unseen"]
        return Unseen(
            garage_level=int(rng.integers(LEVELS)),
            film_level=int(rng.integers(LEVELS)),
            cure=float(rng.uniform(1 - table["cure"], 1 + table["cure"])),
            labour=float(rng.uniform(1 - table["labour"], 1 + table["labour"])),
            start_min=float(rng.uniform(-table["start_min"], table["start_min"])),
            shelter=float(rng.uniform(*table["shelter"])),
        )
