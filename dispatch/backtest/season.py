"""One season under one policy, day by day, and what became of every floor."""

from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta

from dispatch.backtest.office import Booked, Go, Office, Policy, Telling
from dispatch.backtest.scenario import Order, Scenario
from dispatch.backtest.truth import (
    LOOKS_WET_H,
    TrueSlabs,
    harms,
    rained_before,
    true_plan,
)
from dispatch.backtest.world import World
from jobs.rules.plan import Plan
from jobs.rules.refusals import CannotPlan
from weather.rules.hours import HOUR

MORNING, EVENING = time(6), time(17, 30)
SLACK = timedelta(minutes=15)


@dataclass(frozen=True)
class LostDay:
    """A crew's day on which no floor was coated, and why."""

    day: date
    order: int
    why: str
    crew_h: float


@dataclass(frozen=True)
class Move:
    """A customer who had been told a day and was told another; hours of notice."""

    day: date
    order: int
    notice_h: float
    why: str


@dataclass
class Fate:
    """What became of one order."""

    order: Order
    done_on: date | None = None
    crew_h: float = 0.0
    spoiled_by: tuple[str, ...] = ()
    promised: datetime | None = None
    ready: datetime | None = None
    lost: list[LostDay] = field(default_factory=list)
    moves: list[Move] = field(default_factory=list)


@dataclass(frozen=True, eq=False)
class Result:
    """A season under one policy."""

    policy: str
    words: str
    scenario: Scenario
    fates: list[Fate]


@dataclass(eq=False)
class Season:
    """The season as it is played; `run` plays it."""

    world: World
    scenario: Scenario
    slabs: TrueSlabs
    policy: Policy
    waiting: list[Order] = field(default_factory=list)
    fates: dict[int, Fate] = field(default_factory=dict)
    booked: dict[int, Booked] = field(default_factory=dict)

    def run(self, orders: list[Order]) -> Result:
        """Every day from the first to the last, or until nothing is left to do."""
        by_day: dict[date, list[Order]] = {}
        for order in orders:
            by_day.setdefault(order.ordered_on, []).append(order)
            self.fates[order.number] = Fate(order)
        for day in self.scenario.days():
            if self.scenario.works_on(day):
                self._morning(day)
            self.waiting += by_day.get(day, [])
            self._evening(day)
        return Result(
            self.policy.letter, self.policy.words, self.scenario, list(self.fates.values())
        )

    def _office(self, day: date, clock: time) -> Office:
        now = datetime.combine(day, clock, tzinfo=self.world.zone)
        return Office(self.scenario, self.world, self.world.at(now), day, self.booked)

    def _morning(self, day: date) -> None:
        """The crews of the day: stay or go, then pour or come back."""
        office = self._office(day, MORNING)
        for booked in office.on(day):
            go = self.policy.morning(booked, office)
            if not go.goes:
                self._lost(booked, f"morning: {go.why}", crew_h=0.0, notice_h=1.5)
                continue
            self._pour(booked, go)

    def _pour(self, booked: Booked, go: Go) -> None:
        """The day on the site, as it truly goes."""
        order, day = booked.order, booked.seat.day
        fate, card, slab = self.fates[order.number], self.scenario.card(day), self.slabs.of(order)
        start = booked.seat.begins(self.world.zone)
        road_h = 2 * self.scenario.travel_min / 60
        try:
            plan = true_plan(order, card=card, people=self.scenario.people, start=start, slab=slab)
        except CannotPlan:
            self._lost(booked, "site: too cold to set", crew_h=road_h, notice_h=0.0)
            return
        why = self._looked(booked, plan, go)
        if why:
            hours = (plan.pour - plan.start) / HOUR + road_h
            self._lost(booked, f"site: {why}", crew_h=hours, notice_h=0.0)
            return
        del self.booked[order.number]
        fate.done_on, fate.ready, fate.promised = day, plan.drive_on, booked.drive_on
        fate.crew_h += (plan.end - plan.start) / HOUR + road_h
        fate.spoiled_by = tuple(harms(plan, order=order, card=card, world=self.world, slab=slab))

    def _looked(self, booked: Booked, plan: Plan, go: Go) -> str:
        """Why a crew that looks before it pours does not; every crew reads the slab's warmth."""
        order, card = booked.order, self.scenario.card(booked.seat.day)
        slab_c = self.slabs.of(order).at_c(plan.pour)
        open_sky = order.exposure.open
        reasons = {
            "rain at the pour": not order.exposure.enclosed
            and rained_before(plan.pour, 0, self.world),
            "wet slab": open_sky and rained_before(plan.pour, LOOKS_WET_H, self.world),
            "slab too cold": slab_c < card.slab_min_c,
            "slab too hot": slab_c > card.slab_max_c,
            "too late, prepared only": go.pour_by is not None and plan.pour > go.pour_by + SLACK,
            "metered too near the dew point": go.meter
            and self._near_dew(plan, slab_c=slab_c, spread=card.spread_min_c),
        }
        return next((why for why, holds in reasons.items() if holds), "")

    def _near_dew(self, plan: Plan, *, slab_c: float, spread: float) -> bool:
        """What a meter says at the pour."""
        truth = self.world.truth
        return bool(slab_c - truth.dew_c[truth.index(plan.pour)] < spread)

    def _evening(self, day: date) -> None:
        """New plans, the final call on tomorrow, seats for whoever waits, then the telephone."""
        office = self._office(day, EVENING)
        for number, seat in self.policy.replan(office).items():
            self._told_another(self.booked[number], day, why="planned anew", office=office)
            office.place(self.booked[number].order, seat, confirmed=False)
        tomorrow = day + timedelta(days=1)
        called_off = self._final_call(tomorrow, office)
        self._seat_waiting(tomorrow, office)
        for each in called_off:
            if all(not _same_day(other, each) for other in self.booked.values()):
                self._fate(each).lost.append(
                    LostDay(tomorrow, each.order.number, "called off and not filled", 0.0)
                )
        self._tell(office)

    def _seat_waiting(self, tomorrow: date, office: Office) -> None:
        """A seat for everybody who waits, first in line first."""
        for order in list(self.waiting):
            found = self.policy.seat(order, office)
            if found is None:
                continue
            self.waiting.remove(order)
            # Whoever is to be ready tomorrow is told the day with the call.
            known = self.policy.confirms_at_once or found.day == tomorrow
            office.place(order, found, confirmed=known)
            if found.day == tomorrow:
                office.promise(order, self.policy.drive_on(self.booked[order.number], office))

    def _tell(self, office: Office) -> None:
        """Planned days: told to the customer, left for later, or given back to be seated anew."""
        for each in [each for each in self.booked.values() if not each.confirmed]:
            answer = self.policy.confirm(each, office)
            if answer is Telling.TELL:
                self.booked[each.order.number] = replace(each, confirmed=True)
            elif answer is Telling.RELEASE:
                self._wait_again(each)

    def _final_call(self, tomorrow: date, office: Office) -> list[Booked]:
        """Tomorrow's floors: those that stand are promised, the others wait for a new seat."""
        off = []
        for each in office.on(tomorrow):
            go = self.policy.final_call(each, office)
            if go.goes:
                seat = replace(each.seat, start=go.start or each.seat.start)
                told = replace(each, seat=seat, confirmed=True)
                self.booked[each.order.number] = told
                office.promise(each.order, self.policy.drive_on(told, office))
                continue
            self._told_another(each, office.today, why=f"final call: {go.why}", office=office)
            self._wait_again(each)
            off.append(each)
        return off

    def _lost(self, booked: Booked, why: str, *, crew_h: float, notice_h: float) -> None:
        """A crew's day without a floor; the customer hears of another day."""
        fate = self._fate(booked)
        fate.lost.append(LostDay(booked.seat.day, booked.order.number, why, crew_h))
        fate.moves.append(Move(booked.seat.day, booked.order.number, notice_h, why))
        fate.crew_h += crew_h
        self._wait_again(booked)

    def _told_another(self, booked: Booked, day: date, *, why: str, office: Office) -> None:
        """Counted only where the customer had been told the day."""
        if booked.confirmed:
            notice_h = (booked.seat.begins(self.world.zone) - office.view.now) / HOUR
            self._fate(booked).moves.append(Move(day, booked.order.number, notice_h, why))

    def _wait_again(self, booked: Booked) -> None:
        """Whoever lost a day is first in line."""
        del self.booked[booked.order.number]
        self.waiting.insert(0, booked.order)

    def _fate(self, booked: Booked) -> Fate:
        return self.fates[booked.order.number]


def _same_day(one: Booked, other: Booked) -> bool:
    return (one.seat.day, one.seat.crew) == (other.seat.day, other.seat.crew)
