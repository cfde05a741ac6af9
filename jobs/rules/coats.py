"""Coats: laying base and top in the course of a visit, and when each is ready."""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from math import isnan

from jobs.rules.cards import Card, CureTime
from jobs.rules.cure import reached
from jobs.rules.plan import Plan, Stage, StageKind, Visit
from jobs.rules.promises import degrees, drive_on
from jobs.rules.rates import Rates
from jobs.rules.refusals import CannotPlan, TooCold, Unknown
from weather.rules.hours import Series, SlabHours

# What fewer hands can begin, only slower.
SLOWED = frozenset({StageKind.GRIND, StageKind.VACUUM, StageKind.VERTICALS})
UNBROKEN = frozenset({StageKind.BASE, StageKind.TOP})


@dataclass(frozen=True)
class LateHands:
    """Part of the crew comes later: until `joined_at` only `before` people are there."""

    joined_at: datetime
    before: int = 1


@dataclass(frozen=True)
class Rest:
    """A break that lasts `lasts`, due `after` so much work; a coat may go on for `grace`."""

    after: timedelta
    lasts: timedelta
    grace: timedelta = timedelta(minutes=30)

    @classmethod
    def of(cls, rates: Rates) -> "Rest | None":
        """The breaks of a branch; None where it counts none."""
        if rates.break_after_h is None or rates.break_h <= 0:
            return None
        if rates.break_after_h <= 0:
            raise CannotPlan("A break falls due after some work, not before it.")
        return cls(timedelta(hours=rates.break_after_h), timedelta(hours=rates.break_h))


@dataclass
class Stretch:
    """One visit as it is laid out: stages follow one another from `now`."""

    now: datetime
    hours: dict[StageKind, float]
    hands: int
    late: LateHands | None = None
    stages: list[Stage] = field(default_factory=list)
    rest: Rest | None = None

    def do(self, *kinds: StageKind) -> None:
        """Add these stages, one after another; those that take no time are left out."""
        for kind in kinds:
            if kind not in self.hours:
                continue
            needed = timedelta(hours=self.hours[kind])
            if self.rest and kind is not StageKind.PACK:
                needed = self._rested(kind, needed, self.rest)
            if self.late and self.now < self.late.joined_at:
                self._short_handed(kind, needed, self.late)
            else:
                self._add(kind, self.now + needed, self.hands)

    def _rested(self, kind: StageKind, needed: timedelta, rest: Rest) -> timedelta:
        """Put the breaks in that fall due before or inside this stage; what is left of it.

        A coat is never left half laid: the break comes before it.
        """
        if kind in UNBROKEN:
            if self._worked() and self._worked() + needed > rest.after + rest.grace:
                self._add(StageKind.BREAK, self.now + rest.lasts, 0)
            return needed
        while self._worked() + needed > rest.after:
            first = max(timedelta(0), rest.after - self._worked())
            if first:
                self._add(kind, self.now + first, self.hands)
            needed -= first
            self._add(StageKind.BREAK, self.now + rest.lasts, 0)
        return needed

    def _worked(self) -> timedelta:
        """How long the crew has been at it since it came, rested or waited long enough."""
        worked = timedelta(0)
        for stage in reversed(self.stages):
            if stage.kind.wait and (
                self.rest is None or stage.end - stage.start >= self.rest.lasts
            ):
                break
            worked += stage.end - stage.start
        return worked

    def _short_handed(self, kind: StageKind, needed: timedelta, late: LateHands) -> None:
        """A stage begun by the few who are there, and finished by all."""
        if kind not in SLOWED:
            self._add(kind, self.now + needed, late.before)
            return
        slower = self.hands / late.before
        alone = min(needed * slower, late.joined_at.astimezone(UTC) - self.now)
        self._add(kind, self.now + alone, late.before)
        rest = needed - alone / slower
        if rest > timedelta(0):
            self._add(kind, self.now + rest, self.hands)

    def wait(self, until: datetime) -> None:
        """Add a wait with nobody's hands in it, if `until` is still to come."""
        if until > self.now:
            self._add(StageKind.SET, until, 0)

    def _add(self, kind: StageKind, end: datetime, hands: int) -> None:
        self.stages.append(Stage(kind=kind, start=self.now, end=end, hands=hands))
        self.now = end

    def visit(self) -> Visit:
        """The visit as laid out so far."""
        return Visit(tuple(self.stages))

    def leave_until(self, back: datetime, *, set_up_h: float) -> "Stretch":
        """Pack, go, and begin the next visit; nobody comes back before having left."""
        self.do(StageKind.PACK)
        if back < self.now:
            raise CannotPlan("The second visit would begin before the first one has ended.")
        again = Stretch(back.astimezone(UTC), {**self.hours}, self.hands, self.late, rest=self.rest)
        again.hours[StageKind.SET_UP] = set_up_h
        if set_up_h > 0:
            again.do(StageKind.SET_UP)
        return again


@dataclass(frozen=True)
class Base:
    """A base laid: from which instant and until which the next coat may follow."""

    pour: datetime
    pour_c: float
    end: datetime
    recoat_from: datetime
    recoat_until: datetime


@dataclass(frozen=True)
class Top:
    """A top coat laid."""

    start: datetime
    start_c: float
    end: datetime
    abraded: bool


@dataclass(frozen=True)
class Coater:
    """A card on a slab: lays the two coats and knows when they are ready."""

    card: Card
    slab: SlabHours
    cold: SlabHours
    grains: Series | None
    set_factor: float = 1.0  # how much longer a base sets than the card says; never shorter

    def base(self, going: Stretch) -> Base:
        """Lay the base next in this visit, with everybody there.

        Raises Unknown where its wait is not known.
        """
        if going.late:
            going.wait(going.late.joined_at.astimezone(UTC))
        pour = going.now
        pour_c = self._at_c(pour, "the base goes down")
        going.do(StageKind.BASE)
        ready = self.ready(self.card.set, going.now, pour_c)
        if ready is None:
            if pour_c < self.card.stop_c:
                raise TooCold(
                    f"The slab is at {degrees(pour_c)} when the base goes down, and this system "
                    f"sets at nothing under {degrees(self.card.stop_c)}."
                )
            raise Unknown("The base does not set within the hours for which the slab is known.")
        ready = going.now + (ready - going.now) * max(1.0, self.set_factor)
        until = going.now + timedelta(hours=self.card.recoat_until_h)
        return Base(pour, pour_c, going.now, ready, until)

    def top(self, going: Stretch, base: Base) -> Top:
        """Wait, scrape, abrade if it is too late, lay the top and pack."""
        going.wait(base.recoat_from)
        going.do(StageKind.SCRAPE)
        abraded = going.now > base.recoat_until
        if abraded:
            going.do(StageKind.ABRADE)
        start = going.now
        start_c = self._at_c(start, "the top coat goes down")
        going.do(StageKind.TOP)
        top = Top(start, start_c, going.now, abraded)
        going.do(StageKind.PACK)
        return top

    def plan(self, visits: tuple[Visit, ...], base: Base, top: Top, *, waited: bool) -> Plan:
        """The plan of these coats; `waited` says that the base waited for another visit."""
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
            tack_free=self.ready(self.card.tack_free, top.end, row_c),
            rain_safe=self.ready(self.card.rain_safe, top.end, row_c),
            walk_on=chilled.ready(self.card.walk_on, top.end, row_c),
            drive_on=cars.at,
            drive_on_basis=cars.basis,
            slab_at_pour_c=base.pour_c,
            slab_at_top_c=top.start_c,
            abraded=top.abraded,
            base_rain_safe=self.ready(base_safe, base.end, base.pour_c) if waited else None,
            drive_on_slab_c=cars.slab_c,
        )

    def _at_c(self, instant: datetime, moment: str) -> float:
        slab_c = self.slab.at_c(instant)
        if isnan(slab_c):
            raise Unknown(f"The slab's temperature is not known for the hour when {moment}.")
        return slab_c

    def ready(self, time: CureTime, since: datetime, slab_c: float) -> datetime | None:
        """When `time` has passed since `since`; a step card reads its row at `slab_c`."""
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
