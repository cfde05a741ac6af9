"""Stages on the clock: when each step of a floor begins and ends on one slab.

Everything here is elapsed time between instants in UTC, so a change of clocks or a night in
between alters nothing. The slab decides every wait, so the same floor has another length on
another day.
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from math import isnan

from jobs.rules.cards import Card, CureTime
from jobs.rules.cure import reached
from jobs.rules.plan import Plan, Stage, StageKind, Visit, Work
from jobs.rules.promises import drive_on
from jobs.rules.rates import Rates, stage_hours
from jobs.rules.refusals import CannotPlan, Unknown
from weather.rules.hours import HOUR, Series, SlabHours

PREPARE = (
    StageKind.SET_UP,
    StageKind.MASK,
    StageKind.GRIND,
    StageKind.VACUUM,
    StageKind.VERTICALS,
)
DAY = timedelta(hours=24)
QUARTER = timedelta(minutes=15)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def round_up_quarter(instant: datetime) -> datetime:
    """`instant`, or the next quarter hour after it: what is promised to a customer."""
    exact = instant.astimezone(UTC)
    return (exact + (EPOCH - exact) % QUARTER).astimezone(instant.tzinfo)


def hands_on_h(*, work: Work, card: Card, rates: Rates, crew_size: int) -> float:
    """Hours in which the crew's hands are needed, in one visit and without abrading."""
    hours = _hours(work=work, card=card, rates=rates, crew_size=crew_size)
    return sum(spent_h for kind, spent_h in hours.items() if kind is not StageKind.ABRADE)


def elapsed_h(plan: Plan) -> float:
    """Hours the crew is bound to the site: its visits with the waits inside them."""
    return sum((visit.end - visit.start) / HOUR for visit in plan.visits)


def pour_to_rain_safe_h(plan: Plan) -> float | None:
    """Hours from the first resin to the last coat being rain-safe; None if not known."""
    return None if plan.rain_safe is None else (plan.rain_safe - plan.pour) / HOUR


def prepare_h(*, work: Work, rates: Rates, crew_size: int) -> float:
    """Hours of preparing alone, from arriving to a floor that could be coated."""
    hours = stage_hours(work=work, rates=rates, crew_size=crew_size, resin=False)
    return sum(hours.get(kind, 0.0) for kind in PREPARE)


@dataclass
class _Stretch:
    """One visit as it is laid out: stages follow one another from `now`."""

    now: datetime
    hours: dict[StageKind, float]
    hands: int
    stages: list[Stage] = field(default_factory=list)

    def do(self, *kinds: StageKind) -> None:
        for kind in kinds:
            if kind in self.hours:
                self._add(kind, self.now + timedelta(hours=self.hours[kind]), self.hands)

    def wait(self, until: datetime) -> None:
        if until > self.now:
            self._add(StageKind.SET, until, 0)

    def _add(self, kind: StageKind, end: datetime, hands: int) -> None:
        self.stages.append(Stage(kind=kind, start=self.now, end=end, hands=hands))
        self.now = end

    def visit(self) -> Visit:
        return Visit(tuple(self.stages))

    def leave_until(self, back: datetime, *, set_up_h: float) -> "_Stretch":
        """Pack, go, and begin the next visit; nobody comes back before having left."""
        self.do(StageKind.PACK)
        if back < self.now:
            raise CannotPlan("The second visit would begin before the first one has ended.")
        again = _Stretch(back.astimezone(UTC), {**self.hours}, self.hands)
        again.hours[StageKind.SET_UP] = set_up_h
        if set_up_h > 0:
            again.do(StageKind.SET_UP)
        return again


def lay_out(
    *,
    work: Work,
    card: Card,
    rates: Rates,
    crew_size: int,
    start: datetime,
    slab: SlabHours,
    second_start: datetime | None = None,
    cold_slab: SlabHours | None = None,
    grains: Series | None = None,
    split_after: StageKind = StageKind.BASE,
) -> Plan:
    """The whole job on the clock for a crew that arrives at `start` on this slab.

    With `second_start`, or on a card that needs two days, there are two visits: the first
    ends after the base, or after preparing with `split_after=StageKind.VERTICALS`. Without
    `second_start` a two-day card returns 24 hours later, or when the base is ready.
    `cold_slab` bounds the promises after the top (default: `slab` itself). `grains` is the
    water in the air by the hour of the slab, for cards that cure on moisture; without it
    their lower limit is left to whoever judges the weather. Raises CannotPlan.
    """
    start = start.astimezone(UTC)
    floor = _Floor(card=card, slab=slab, cold=cold_slab or slab, grains=grains)
    hours = _hours(work=work, card=card, rates=rates, crew_size=crew_size)
    split = _split(card, second_start, split_after)
    going = _Stretch(start, hours, crew_size)
    visits: list[Visit] = []

    going.do(*PREPARE)
    if split is StageKind.VERTICALS:
        back = second_start or start + DAY
        going, left = going.leave_until(back, set_up_h=rates.return_set_up_h), going
        visits.append(left.visit())
    base = floor.base(going)
    if split is StageKind.BASE:
        ready = base.recoat_from - timedelta(hours=rates.return_set_up_h)
        back = second_start or max(start + DAY, ready)
        going, left = going.leave_until(back, set_up_h=rates.return_set_up_h), going
        visits.append(left.visit())
    top = floor.top(going, base)
    visits.append(going.visit())
    return floor.plan(tuple(visits), base, top, waited=split is StageKind.BASE)


def _split(card: Card, second_start: datetime | None, split_after: StageKind) -> StageKind | None:
    """The stage after which the crew leaves for another day, if it does."""
    if split_after not in {StageKind.BASE, StageKind.VERTICALS}:
        raise ValueError(f"a job is split after preparing or after the base, not {split_after}")
    if card.two_days and split_after is not StageKind.BASE:
        raise CannotPlan("This system already takes two days and cannot be split further.")
    return split_after if card.two_days or second_start is not None else None


def _hours(*, work: Work, card: Card, rates: Rates, crew_size: int) -> dict[StageKind, float]:
    """Hours by stage; a floor without flake has nothing to scrape."""
    hours = stage_hours(
        work=work, rates=rates, crew_size=crew_size, abrade_h_per_m2=card.abrade_h_per_m2
    )
    if card.flake_kg_per_m2 == 0:
        hours.pop(StageKind.SCRAPE, None)
    return hours


@dataclass(frozen=True)
class _Base:
    pour: datetime
    pour_c: float
    end: datetime
    recoat_from: datetime
    recoat_until: datetime


@dataclass(frozen=True)
class _Top:
    start: datetime
    start_c: float
    end: datetime
    abraded: bool


@dataclass(frozen=True)
class _Floor:
    """A card on a slab: lays the two coats and knows when they are ready."""

    card: Card
    slab: SlabHours
    cold: SlabHours
    grains: Series | None

    def base(self, going: _Stretch) -> _Base:
        pour = going.now
        pour_c = self._at_c(pour, "the base goes down")
        going.do(StageKind.BASE)
        ready = self.reached(self.card.set, going.now, pour_c)
        if ready is None:
            raise Unknown("The base does not set within the hours for which the slab is known.")
        until = going.now + timedelta(hours=self.card.recoat_until_h)
        return _Base(pour, pour_c, going.now, ready, until)

    def top(self, going: _Stretch, base: _Base) -> _Top:
        going.wait(base.recoat_from)
        going.do(StageKind.SCRAPE)
        abraded = going.now > base.recoat_until
        if abraded:
            going.do(StageKind.ABRADE)
        start = going.now
        start_c = self._at_c(start, "the top coat goes down")
        going.do(StageKind.TOP)
        top = _Top(start, start_c, going.now, abraded)
        going.do(StageKind.PACK)
        return top

    def plan(self, visits: tuple[Visit, ...], base: _Base, top: _Top, *, waited: bool) -> Plan:
        # A table by steps asks for the slab at the pour. Within one visit that is the first
        # resin, but a slab that has cooled since is never read as the warmer one.
        row_c = top.start_c if waited else min(base.pour_c, top.start_c)
        chilled = replace(self, slab=self.cold)
        cars = drive_on(card=self.card, top_end=top.end, cold=self.cold, grains=self.grains)
        base_safe = self.card.base_rain_safe or self.card.rain_safe
        return Plan(
            visits=visits,
            pour=base.pour,
            base_end=base.end,
            recoat_from=base.recoat_from,
            recoat_until=base.recoat_until,
            top_start=top.start,
            top_end=top.end,
            tack_free=self.reached(self.card.tack_free, top.end, row_c),
            rain_safe=self.reached(self.card.rain_safe, top.end, row_c),
            walk_on=chilled.reached(self.card.walk_on, top.end, row_c),
            drive_on=cars.at,
            drive_on_basis=cars.basis,
            slab_at_pour_c=base.pour_c,
            slab_at_top_c=top.start_c,
            abraded=top.abraded,
            base_rain_safe=self.reached(base_safe, base.end, base.pour_c) if waited else None,
            drive_on_slab_c=cars.slab_c,
        )

    def _at_c(self, instant: datetime, moment: str) -> float:
        slab_c = self.slab.at_c(instant)
        if isnan(slab_c):
            raise Unknown(f"The slab's temperature is not known for the hour when {moment}.")
        return slab_c

    def reached(self, time: CureTime, since: datetime, slab_c: float) -> datetime | None:
        return reached(
            time=time,
            table=self.card.table,
            since=since,
            slab=self.slab,
            stop_c=self.card.stop_c,
            slab_at_pour_c=slab_c,
            grains=self.grains,
            grains_min=self.card.humidity_min_grains,
        )
