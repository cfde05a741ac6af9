"""What a policy sees and answers: the office of the backtest, and the one protocol of policies."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from enum import Enum
from typing import Protocol
from zoneinfo import ZoneInfo

from dispatch.backtest.scenario import Order, Scenario
from dispatch.backtest.world import View, World
from jobs.rules.plan import Plan

AHEAD_DAYS = 22


@dataclass(frozen=True)
class Seat:
    """A crew's day, and when on it the crew is on the site."""

    day: date
    crew: int
    start: time

    def begins(self, zone: ZoneInfo) -> datetime:
        """The start as a moment."""
        return datetime.combine(self.day, self.start, tzinfo=zone)


class Telling(Enum):
    """What to do about a planned day: tell the customer, wait, or look for another."""

    TELL = "tell"
    WAIT = "wait"
    RELEASE = "release"


@dataclass(frozen=True)
class Booked:
    """An order on a seat. `confirmed` since the customer was told the day, not only the week."""

    order: Order
    seat: Seat
    confirmed: bool
    drive_on: datetime | None = None


@dataclass(frozen=True)
class Go:
    """What a call says: whether the crew goes, when, by when resin must be down, what it meters."""

    goes: bool
    start: time | None = None  # another start of the same day
    pour_by: datetime | None = None
    meter: bool = False
    why: str = ""


@dataclass
class Office:
    """The calendar and what is known at the moment. Policies read it; the season writes it."""

    scenario: Scenario
    world: World
    view: View
    today: date
    booked: dict[int, Booked] = field(default_factory=dict)

    def free(self) -> Iterator[Seat]:
        """Every seat that is free, from tomorrow on, soonest first."""
        taken = {(each.seat.day, each.seat.crew) for each in self.booked.values()}
        for ahead in range(1, AHEAD_DAYS + 1):
            day = self.today + timedelta(days=ahead)
            if not self.scenario.works_on(day):
                continue
            for crew in range(self.scenario.crews):
                if (day, crew) not in taken:
                    yield Seat(day, crew, self.scenario.starts)

    def free_days(self) -> list[Seat]:
        """The first free crew of each day that has one."""
        first: dict[date, Seat] = {}
        for seat in self.free():
            first.setdefault(seat.day, seat)
        return list(first.values())

    def on(self, day: date) -> list[Booked]:
        """The bookings of a day, by crew."""
        return sorted(
            (each for each in self.booked.values() if each.seat.day == day),
            key=lambda each: each.seat.crew,
        )

    def place(self, order: Order, seat: Seat, *, confirmed: bool) -> None:
        """Put an order on a seat."""
        self.booked[order.number] = Booked(order, seat, confirmed)

    def promise(self, order: Order, plan: Plan | None) -> None:
        """Note what drive-on the customer is told."""
        at = plan.drive_on if plan else None
        self.booked[order.number] = replace(self.booked[order.number], drive_on=at)


class Policy(Protocol):
    """How an office decides. Called by the season in the order of the day."""

    @property
    def letter(self) -> str:
        """What the table calls it."""

    @property
    def words(self) -> str:
        """What it does, in a line."""

    @property
    def confirms_at_once(self) -> bool:
        """Whether a customer is told the day as soon as it is booked."""

    def seat(self, order: Order, office: Office) -> Seat | None:
        """A free seat for an order that waits; None to let it wait another day."""

    def confirm(self, booked: Booked, office: Office) -> Telling:
        """Asked each evening of a day that the customer has not been told."""

    def replan(self, office: Office) -> Mapping[int, Seat]:
        """Asked each evening before the final call: new seats by order number."""

    def final_call(self, booked: Booked, office: Office) -> Go:
        """Asked the evening before: whether tomorrow's floor stands, and if not, why."""

    def drive_on(self, booked: Booked, office: Office) -> Plan | None:
        """The plan whose drive-on the customer is promised the evening before."""

    def morning(self, booked: Booked, office: Office) -> Go:
        """Asked at six on the day."""
