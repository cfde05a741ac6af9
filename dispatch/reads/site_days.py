"""The days of one order at its site: when work may begin and must end, and which are closed."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from jobs.described import Order
from jobs.models import Branch, DayWish
from jobs.rules.clock import say_day
from jobs.rules.day_hours import DayHours, OwnHours, Starts, hours_of
from jobs.rules.gate import gate_rules
from jobs.rules.plan import StageKind
from jobs.rules.quiet import SECOND_DAY, earliest_start
from jobs.rules.rates import Rates
from weather.rules.hours import HOUR, Hours

LATEST_SECOND_DAY = 5  # a weekend and a holiday with its bridge


@lru_cache(maxsize=8192)  # the same hundred days are asked about by every caller
def instant_at(zone: str, day: date, clock: time) -> datetime:
    """The instant (UTC) at which the clocks of `zone` show `clock` on `day`."""
    return datetime.combine(day, clock, tzinfo=ZoneInfo(zone)).astimezone(UTC)


class SiteDays:
    """Hours of each day, asked once; instants are UTC."""

    def __init__(
        self, job: Order, *, now: datetime, holidays: Mapping[date, str], hours: Hours
    ) -> None:
        self.job = job
        self.branch: Branch = job.branch
        self.now = now
        self.today = self.branch.today(now)
        self.holidays = holidays
        self.starts = replace(Starts(), **self.branch.starts)
        self._hours = hours
        self._gate = gate_rules(job.site.gate_rules)
        self._kept: dict[date, DayHours] = {}
        self._alike: dict[bool, DayHours] = {}
        self._closed: dict[date, str] = {}

    def _at(self, day: date, clock: time) -> datetime:
        return instant_at(self.branch.zone, day, clock)

    def hours(self, day: date) -> DayHours:
        """The wall clock times of one day."""
        if day not in self._kept:
            hot = self._hot(day)
            if self._gate:
                self._kept[day] = self._hours_of(day, hot=hot)
            else:  # without a gate all days are alike
                if hot not in self._alike:
                    self._alike[hot] = self._hours_of(day, hot=hot)
                self._kept[day] = self._alike[hot]
        return self._kept[day]

    def _hours_of(self, day: date, *, hot: bool) -> DayHours:
        branch, site = self.branch, self.job.site
        found = hours_of(
            day,
            branch=OwnHours(
                branch.day_starts, branch.day_ends, branch.quiet_until, branch.quiet_from
            ),
            site=OwnHours(site.opens, site.closes, site.quiet_until, site.quiet_from),
            gate=self._gate,
            holidays=self.holidays,
            early_from=branch.early_from,
            hot=hot,
        )
        if site.needs_generator and found.generator_from:
            return replace(found, noisy_from=max(found.noisy_from, found.generator_from))
        return found

    def _hot(self, day: date) -> bool:
        """Whether the day's air is known to get so warm that crews begin early."""
        start = self._at(day, time(9))
        if self.branch.early_from is None or start > self._hours.end:
            return False
        air_c = self._hours.between(start, start + 9 * HOUR).air_c
        known = air_c[~np.isnan(air_c)]
        return bool(len(known)) and float(known.max()) >= self.starts.hot_from_c

    def opens(self, day: date) -> datetime:
        """When a crew may be there."""
        return self._at(day, self.hours(day).opens)

    def latest(self, day: date) -> datetime:
        """When everybody must have left."""
        return self._at(day, self.hours(day).closes)

    def noisy_from(self, day: date) -> datetime:
        """When noise may begin."""
        return self._at(day, self.hours(day).noisy_from)

    def noisy_until(self, day: date) -> datetime:
        """When noise must end."""
        return self._at(day, self.hours(day).noisy_until)

    def closed(self, day: date) -> str:
        """Why nobody can come that day, or an empty string."""
        return self.branch_closed(day) or self._customer_cannot(day)

    def branch_closed(self, day: date) -> str:
        """Why no work is done that day, whoever the customer is."""
        if day not in self._closed:
            self._closed[day] = self._why_closed(day)
        return self._closed[day]

    def _why_closed(self, day: date) -> str:
        if day.weekday() not in self.branch.weekdays:
            return f"{self.branch} does not work on {day:%A}s."
        if day in self.holidays:
            return f"{say_day(day)} is {self.holidays[day]}."
        if self.hours(day).closed:
            return self.hours(day).closed
        return "The day is over." if self.latest(day) <= self.now else ""

    def _customer_cannot(self, day: date) -> str:
        customer, fixed = self.job.customer, self.job.wished_day
        if day == self.today and not self.job.can_come_soon:
            return f"{customer} needs a day to empty the floor."
        if day in self.job.days_off():
            return f"{customer} cannot on {say_day(day)}."
        if self.job.day_wish == DayWish.FIXED and fixed is not None and day != fixed:
            return f"{customer} can only on {say_day(fixed)}."
        return ""

    def next_open(self, day: date) -> date | None:
        """The next day on which the crew may come back, if one is soon enough."""
        for ahead in range(1, LATEST_SECOND_DAY + 1):
            second = day + timedelta(days=ahead)
            if not self.branch_closed(second) and second not in self.job.days_off():
                return second
        return None

    def why_not_back(self, day: date) -> str:
        """Until when nobody may return after `day`, where days in between are closed."""
        between = day + timedelta(days=1)
        why = self.branch_closed(between)
        back = self.next_open(day)
        if not why or back is None:
            return why
        return f"{why} Nobody may return before {say_day(back)}."

    def second_start(self, second: date, rates: Rates) -> datetime:
        """When the second visit begins, so that its noise falls after the quiet hours."""
        return earliest_start(
            arrive=self.opens(second),
            noisy_from=self.noisy_from(second),
            hours={StageKind.SET_UP: rates.return_set_up_h},
            order=SECOND_DAY,
        )

    def first_start(self, day: date, arrive: datetime, rates: Rates) -> datetime:
        """Start so late that the first noisy stage falls after the quiet hours."""
        hours = {StageKind.SET_UP: rates.set_up_h, StageKind.MASK: rates.mask_h}
        return earliest_start(arrive=arrive, noisy_from=self.noisy_from(day), hours=hours)
