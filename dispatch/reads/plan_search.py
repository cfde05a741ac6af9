"""The search of one floor of a plan: on a calendar in which whatever may move counts as free."""

from copy import copy
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cached_property

import numpy as np

from dispatch.models import Crew
from dispatch.reads.free_time import Prepared
from dispatch.reads.offer import NoOffer, Offer
from dispatch.reads.offer_screen import Screen
from dispatch.reads.offer_search import Search
from dispatch.reads.pricing_offers import Priced
from dispatch.reads.staffing import Staffing
from dispatch.rules.screening import Asked
from dispatch.rules.travel import travel_min
from jobs.models import Job


class _PlanScreen(Screen):
    """A screen that leaves it to the plan what a crew-day is worth to other floors."""

    @cached_property
    def asked(self) -> Asked:
        bare = super().asked
        return replace(bare, prices=np.zeros_like(bare.prices))


class _PlanPriced(Priced):
    """Prices that leave it to the plan what a crew-day is worth to other floors."""

    def _crew_day_price(self, offer: Offer) -> float:
        return 0.0


class PlanSearch(Search):
    """One floor over the first days of a calendar that its plan shares."""

    def __init__(self, *, job: Job, now: datetime, calendar: Prepared, days: int) -> None:
        self.shared = calendar
        self.horizon_days = days
        super().__init__(job=job, now=now, moving=None)

    @cached_property
    def calendar(self) -> Prepared:
        """The calendar of the plan."""
        return self.shared

    @cached_property
    def screen(self) -> Screen:
        """Every candidate within the horizon at a glance."""
        found = _PlanScreen(
            setting=self.setting,
            calendar=self.calendar,
            days=self.site_days,
            costs=self.costs,
            now=self.now + timedelta(minutes=travel_min(self.depot, self.site)),
        )
        found.days = found.days[: self.horizon_days]
        return found

    @cached_property
    def priced(self) -> Priced:
        """What offers cost, with all that is read for it."""
        return _PlanPriced(self.setting, self.site_days, self.calendar, self.costs)

    def among(self, staff: Staffing) -> "PlanSearch":
        """The same search where other floors of the plan have their places already."""
        other, priced = copy(self), copy(self.priced)
        other.__dict__["calendar"] = priced.calendar = replace(self.shared, staff=staff)
        other.__dict__["priced"] = priced
        return other

    def exactly(self, crew: Crew, start: datetime) -> Offer:
        """The crew at that hour, laid out and judged as it will be booked. Raises NoOffer."""
        day = start.astimezone(self.branch.tz).date()
        found = self.with_door(self.at(crew, day, start))
        if not isinstance(found, Offer):
            raise NoOffer(found.why, found.rank, found.change)
        return found
