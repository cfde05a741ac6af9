"""Which crews, days and starts are worth laying out for one order, and why a day has none."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property

import numpy as np

from dispatch.reads.chain import Setting
from dispatch.reads.crew_day_prices import crew_day_prices
from dispatch.reads.free_time import AHEAD_DAYS, Prepared
from dispatch.reads.offer import RefusedDay
from dispatch.reads.site_days import SiteDays
from dispatch.rules.costs import Costs
from dispatch.rules.free_time import NEVER, Minutes
from dispatch.rules.granules import EPOCH
from dispatch.rules.rough_weather import RoughFloor, rough_levels
from dispatch.rules.screening import (
    Asked,
    Candidates,
    Flags,
    Return,
    Way,
    longest_free_min,
    screen,
)
from dispatch.rules.travel import Point, travel_min_to
from jobs.models import DayWish
from jobs.rules.clock import say_day, say_moment, say_time
from jobs.rules.day_hours import DayHours
from jobs.rules.many_starts import ManyPlans, lay_many
from jobs.rules.plan import StageKind
from jobs.rules.rates import stage_hours
from jobs.rules.refusals import CannotPlan
from weather.rules.hours import HOUR, Series

MINUTE = timedelta(minutes=1)
TEAM = 2
NO_COST = 10_000.0  # of an hour whose verdict will be no: laid out last, for its sentence


@dataclass(frozen=True)
class Candidate:
    """A crew, a day and a start that are worth laying out."""

    crew: int  # number among the staff's crews
    day: date
    start: datetime
    visits: int
    lent: int
    cost: float

    @property
    def forbidden(self) -> bool:
        """Whether the weather alone will say no."""
        return self.cost >= NO_COST


class Screen:
    """All candidates of one order over the days that can be asked about."""

    def __init__(
        self,
        *,
        setting: Setting,
        calendar: Prepared,
        days: SiteDays,
        costs: Costs,
        now: datetime,
    ) -> None:
        self.setting = setting
        self.calendar = calendar
        self.site_days = days
        self.costs = costs
        self.now = now
        self.days = calendar.days[: AHEAD_DAYS + 1]
        site = setting.job.site
        self.site: Point = (site.latitude, site.longitude)
        self._quiet: dict[DayHours, int] = {}

    def candidate(self, row: int) -> Candidate:
        """One row of the candidates as plain values."""
        found = self.candidates
        way = self.ways[int(found.way[row])]
        return Candidate(
            crew=int(found.crew[row]),
            day=self.days[int(found.day[row])],
            start=EPOCH + int(found.start[row]) * MINUTE,
            visits=way.visits,
            lent=way.lent,
            cost=float(found.cost[row]),
        )

    def best_of_days(self) -> list[Candidate]:
        """The cheapest candidate of each day that has one, cheapest day first."""
        return [self.candidate(row) for row in self.candidates.best_of_days().values()]

    def of_day(self, day: date) -> list[Candidate]:
        """The candidates of one day, cheapest first."""
        number = (day - self.days[0]).days
        return [self.candidate(row) for row in self.candidates.of_day(number)]

    @cached_property
    def candidates(self) -> Candidates:
        """Every gap of every crew that the job fits into, cheapest first."""
        return screen(self.calendar.free, self.asked, self.ways)

    @cached_property
    def closed(self) -> list[str]:
        """By day the sentence why nobody can come, or an empty string."""
        return [self.site_days.closed(day) or self._too_late(day) for day in self.days]

    def _too_late(self, day: date) -> str:
        """A day that begins after the floor is needed again."""
        job, zone = self.setting.job, self.setting.zone
        opens = self.site_days.opens(day)
        if job.car_needed_by is not None and opens >= job.car_needed_by:
            needed = say_moment(job.car_needed_by, zone)
            return f"Drive-on would be after the car is needed at {needed}."
        if job.reopens_at is not None and opens >= job.reopens_at:
            return f"It opens again at {say_moment(job.reopens_at, zone)}, before that day."
        return ""

    @cached_property
    def asked(self) -> Asked:
        """The days as the arrays take them."""
        first_min = self._first_start_min
        latest = [
            NEVER if why else _minute(self.site_days.latest(day))
            for day, why in zip(self.days, self.closed, strict=True)
        ]
        job = self.setting.job
        lead = np.arange(len(self.days), dtype=np.float64)
        wishes = job.day_wish == DayWish.PREFERS
        missed = np.array([wishes and day != job.wished_day for day in self.days])
        day_cost = self.costs.waiting_a_day * lead + self.costs.wish_missed * missed
        return Asked(
            opens=first_min,
            latest=np.array(latest, dtype=np.int64),
            step_min=self.site_days.starts.step_min,
            road_min=travel_min_to(self.calendar.points, self.site),
            road_cost=self.costs.travel_an_hour / 60,
            day_cost=day_cost,
            fresh_day_cost=self.costs.fresh_day,
            idle_cost=self.costs.idle_an_hour / 60,
            later_cost=self.costs.later_an_hour / 60,
            prices=crew_day_prices(
                self.calendar.staff, first_day=self.days[0], days=len(self.days)
            ),
        )

    @cached_property
    def _first_start_min(self) -> Minutes:
        """By day the first start that puts the noise behind the quiet hours; NEVER if closed."""
        days = self.site_days
        found = []
        for day, why in zip(self.days, self.closed, strict=True):
            if why:
                found.append(NEVER)
                continue
            opens = days.opens(day)
            if opens < self.now:
                minute = _minute(days.first_start(day, self.now, self.setting.rates))
            else:
                minute = _minute(opens) + self._quiet_min(day)
            found.append(minute + -minute % 15)
        return np.array(found, dtype=np.int64)

    def _quiet_min(self, day: date) -> int:
        """Minutes after opening until a crew may begin; the same on days with the same hours."""
        hours = self.site_days.hours(day)
        if hours not in self._quiet:
            opens = self.site_days.opens(day)
            first = self.site_days.first_start(day, opens, self.setting.rates)
            self._quiet[hours] = int((first - opens) / MINUTE)
        return self._quiet[hours]

    @cached_property
    def ways(self) -> list[Way]:
        """Every way to do the job that some crew has the people for."""
        people = self.calendar.free.people[: len(self.days)]
        sizes = [int(each) for each in np.unique(people) if each >= TEAM]
        found = [way for size in sizes for way in self._of_size(size)]
        short = [way.people for way in found if way.visits == 1 and self._short_of_hands(way)]
        found += [
            replace(way, lent=1, cost=way.cost + self.costs.lent_person)
            for size in short
            for way in self._of_size(size + 1)
            if way.visits == 1
        ]
        return found

    def _short_of_hands(self, way: Way) -> bool:
        """Whether on some open day no start of it ends in time."""
        return bool((~self._fits(way) & (self.asked.latest != NEVER)).any())

    def _fits(self, way: Way) -> Flags:
        """By day whether any start of the way's first visit ends in time."""
        fits: Flags = ((way.end != NEVER) & (way.end <= self.asked.latest[:, None])).any(axis=1)
        return fits

    def _of_size(self, people: int) -> Iterator[Way]:
        plans = self.plans(people)
        if plans is None:
            return
        card = self.setting.card
        cost: Series = self._weather_cost(plans)
        whole = np.zeros(len(self.days), dtype=np.bool_)
        if not card.two_days:
            way = Way(people=people, visits=1, end=self._minutes(plans.end_h), cost=cost)
            whole = self._fits(way)
            yield way
        # A base that may wait overnight is left only on days that do not hold all of the floor.
        closed = self.asked.latest == NEVER
        if card.two_days or (card.overnight and not bool((whole | closed).all())):
            end = self._minutes(plans.first_end_h)
            end[whole] = NEVER
            twice: Series = cost + self.costs.second_visit + self.costs.fresh_day
            yield Way(people, 2, end, twice, second=self._return(people))

    def plans(self, people: int) -> ManyPlans | None:
        """Every start of the days for so many people; None where they cannot do it."""
        slab = self.setting.coldest(self.site_days.opens(self.days[-1]) + timedelta(days=10))
        try:
            return lay_many(
                work=self.setting.work,
                card=self.setting.card,
                rates=self.setting.rates,
                crew_size=people,
                start_h=(self._starts - _minute(slab.start)) / 60,
                slab=slab,
                bays=1 if self.setting.card.two_days else self.setting.job.bays(),
            )
        except CannotPlan:
            return None

    @cached_property
    def _starts(self) -> Series:
        """Days x starts in minutes, flat; NaN on closed days."""
        step = self.site_days.starts.step_min
        longest = int((self.asked.latest - self.asked.opens).max(initial=step))
        count = max(1, longest // step + 1)
        whole = self._first_start_min.astype(np.float64)
        first = np.where(self._first_start_min == NEVER, np.nan, whole)
        later = step * np.arange(count, dtype=np.float64)
        starts: Series = np.add.outer(first, later).reshape(-1)
        return starts

    def _minutes(self, when_h: Series) -> Minutes:
        """Hours of the slab as minutes since 1970, days x starts, rounded up."""
        base = _minute(self.setting.coldest(self.now).start)
        whole = np.ceil(np.nan_to_num(when_h) * 60 - 1e-6).astype(np.int64) + base
        found: Minutes = np.where(np.isnan(when_h), NEVER, whole).reshape(len(self.days), -1)
        return found

    def _weather_cost(self, plans: ManyPlans) -> Series:
        """What the weather of each start costs, roughly; days x starts."""
        floors = tuple(RoughFloor(each.exposure, each.slab) for each in self.setting.grounds)
        levels, chance = rough_levels(
            plans,
            floors=floors,
            hours=self.setting.hours,
            card=self.setting.card,
            thresholds=self.setting.thresholds,
        )
        number = np.arange(len(self.days), dtype=np.float64)
        lead = np.repeat(number, len(levels) // len(self.days))
        unknown = self.costs.unknown + self.costs.unknown_a_day * lead
        care = np.full(len(levels), self.costs.care)
        by_level = np.choose(levels, [np.zeros(len(levels)), care, unknown, NO_COST])
        loss = self.costs.loss(float(self.setting.job.price or 0))
        found: Series = (by_level + chance * loss).reshape(len(self.days), -1)
        return found

    def _return(self, people: int) -> Return:
        """When the second visit of each day would be."""
        rates, card = self.setting.rates, self.setting.card
        hours = stage_hours(work=self.setting.work, rates=rates, crew_size=people)
        kinds = (StageKind.SCRAPE, StageKind.TOP, StageKind.PACK)
        needs_h = rates.return_set_up_h + sum(hours.get(kind, 0.0) for kind in kinds)
        rows = []
        for day, why in zip(self.days, self.closed, strict=True):
            second = None if why else self.site_days.next_open(day)
            if second is None:
                rows.append((NEVER, NEVER, NEVER))
                continue
            start = _minute(self.site_days.second_start(second, rates))
            early = (second - day).days * 24 > card.recoat_until_h and not card.two_days
            number = NEVER if early else (second - self.days[0]).days
            rows.append((number, start, start + int(needs_h * 60)))
        number_of, start_min, end_min = np.array(rows, dtype=np.int64).T
        return Return(number_of, start_min, end_min)

    def why_not(self, day: date) -> RefusedDay | None:
        """Why a day has no candidate of a crew by itself; None where only a close look tells."""
        number = (day - self.days[0]).days
        nobody = self._nobody(day, number)
        if nobody is not None:
            return nobody
        free_min = self._free_by_size(number)
        ways = [way for way in self.ways if not way.lent and _comes_back(way, number)]
        free_ways = [way for way in ways if free_min.get(way.people, 0) > 0]
        needs = [self._needs(way, number) for way in free_ways or ways]
        known = [need for need in needs if need is not None]
        if not known:
            return None
        if all(end > int(self.asked.latest[number]) for _, end in known):
            return self._too_long(day, min(known, key=lambda need: need[1]))
        shortest = min(end - start for start, end in known)
        longest = max(free_min.values(), default=0)
        if longest >= shortest:
            return None  # somebody has the time, so something else stands in the way
        return RefusedDay(
            day,
            f"Every crew has other work: the longest free stretch is {_hours(longest)} of the "
            f"{_hours(shortest)} it takes.",
            1,
            change="Move a floor of that day, or lay this one on another.",
        )

    def _nobody(self, day: date, number: int) -> RefusedDay | None:
        """Why nobody at all can come, if that is so."""
        if self.closed[number]:
            return RefusedDay(day, self.closed[number], 1)
        if not self.calendar.staff.crews:
            return RefusedDay(day, "There is no crew in this branch yet.", 5)
        if int(self.calendar.free.people[number].max(initial=0)) < TEAM:
            return RefusedDay(day, f"No crew has two people on {say_day(day)}; resin needs two.", 2)
        return None

    def _free_by_size(self, number: int) -> dict[int, int]:
        """The longest free stretch (minutes) of that day by how many people a crew has."""
        free = longest_free_min(self.calendar.free, self.asked)[number]
        people = self.calendar.free.people[number]
        return {
            int(size): int(free[people == size].max()) for size in np.unique(people) if size >= TEAM
        }

    def _needs(self, way: Way, number: int) -> tuple[int, int] | None:
        """First start and its end on that day, if the slab allows any."""
        ends = way.end[number]
        known = np.flatnonzero(ends != NEVER)
        if not len(known):
            return None
        first = int(known[0])
        start = int(self.asked.opens[number]) + self.asked.step_min * first
        return start, int(ends[first])

    def _too_long(self, day: date, need: tuple[int, int]) -> RefusedDay:
        zone = self.setting.zone
        start, end = (EPOCH + each * MINUTE for each in need)
        latest = self.site_days.latest(day)
        over = _minute(end) - _minute(latest)
        said = (
            f"It takes {(end - start) / HOUR:.1f} h from {say_time(start, zone)} and work ends at "
            f"{say_time(latest, zone)}."
        )
        stays_closed = self.site_days.why_not_back(day) if self.setting.card.overnight else ""
        return RefusedDay(
            day,
            f"{said} {stays_closed}".strip(),
            2,
            change=f"{_hours(over)} longer on the site, or more hands.",
        )


def _comes_back(way: Way, number: int) -> bool:
    """Whether a way of two visits has its second one on some day."""
    return way.second is None or int(way.second.day[number]) != NEVER


def _minute(instant: datetime) -> int:
    return int((instant - EPOCH) / MINUTE)


def _hours(minutes: int) -> str:
    return f"{minutes / 60:.1f} h"
