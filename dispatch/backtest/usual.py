"""How offices decide without the program: the first free day and a look out of the window.

They plan on a slab of 70 °F and promise the data sheet's hours.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

import numpy as np

from dispatch.backtest.office import Booked, Go, Office, Seat, Telling
from dispatch.backtest.scenario import Order
from dispatch.backtest.truth import LOOKS_WET_H, rained_before
from jobs.rules.cure import REFERENCE_C
from jobs.rules.plan import Plan
from jobs.rules.rates import Rates
from jobs.rules.stages import lay_out
from weather.rules.hours import HOUR, SlabHours, floor_hour

WORKING_DAY = time(8), time(20)
RULE_OF_THUMB_PCT = 30.0


@dataclass(frozen=True)
class FirstFreeDay:
    """The first free day; the crew goes unless it rains or the slab is wet at six."""

    letter: str = "a"
    words: str = "first free day, go unless the morning looks wet"
    confirms_at_once: bool = True

    def seat(self, order: Order, office: Office) -> Seat | None:
        """The first free seat."""
        return next(office.free(), None)

    def confirm(self, booked: Booked, office: Office) -> Telling:
        """Every day is told at once."""
        return Telling.TELL

    def replan(self, office: Office) -> Mapping[int, Seat]:
        """Nothing moves."""
        return {}

    def final_call(self, booked: Booked, office: Office) -> Go:
        """Nobody asks the evening before."""
        return Go(goes=True)

    def drive_on(self, booked: Booked, office: Office) -> Plan | None:
        """The plan on a slab of 70 °F."""
        scenario, day = office.scenario, booked.seat.day
        start = booked.seat.begins(office.world.zone)
        return lay_out(
            work=booked.order.work,
            card=scenario.card(day),
            rates=Rates(),
            crew_size=scenario.people,
            start=start,
            slab=_at_reference(start, scenario.card(day).slab_max_c),
        )

    def morning(self, booked: Booked, office: Office) -> Go:
        """Floors under the sky wait where it rains or has rained in the last hours."""
        now = office.view.now
        wet = not booked.order.exposure.enclosed and rained_before(now, LOOKS_WET_H, office.world)
        return Go(not wet, why="the morning looks wet" if wet else "")


@dataclass(frozen=True)
class ThirtyPercent(FirstFreeDay):
    """The first free day whose chance of rain is under 30 %; asked again the evening before."""

    letter: str = "b"
    words: str = "first free day under 30 % rain, asked again the evening before"

    def seat(self, order: Order, office: Office) -> Seat | None:
        """The first free seat of a day that is not said to be wet; far days count as dry."""
        for seat in office.free_days():
            if order.exposure.enclosed or not _said_wet(seat.day, office):
                return seat
        return None

    def final_call(self, booked: Booked, office: Office) -> Go:
        """Moved where the evening's forecast says 30 % or more."""
        shut = booked.order.exposure.enclosed
        return Go(goes=shut or not _said_wet(booked.seat.day, office), why="rain")


def _said_wet(day: date, office: Office) -> bool:
    """Whether any hour of the working day reaches 30 %."""
    first, last = (datetime.combine(day, at, tzinfo=office.world.zone) for at in WORKING_DAY)
    chance = office.view.hours.between(first, last).rain_chance_pct
    return bool((np.nan_to_num(chance) >= RULE_OF_THUMB_PCT).any())


def _at_reference(start: datetime, most_c: float) -> SlabHours:
    """A slab of 70 °F for twelve days, or what the card's limit leaves of it."""
    held = np.full(int(timedelta(days=12) / HOUR), min(REFERENCE_C, most_c))
    return SlabHours(start=floor_hour(start), mid_c=held, cold_c=held, warm_c=held)
