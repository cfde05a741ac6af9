"""Stages on the clock: when each step of a floor begins and ends on one slab.

Everything here is elapsed time between instants in UTC, so a change of clocks or a night in
between alters nothing. The slab decides every wait, so the same floor has another length on
another day.
"""

from datetime import UTC, datetime, timedelta

from jobs.rules.cards import Card
from jobs.rules.clock import round_up_quarter
from jobs.rules.coats import Coater, LateHands, Rest, Stretch
from jobs.rules.plan import Plan, StageKind, Visit, Work
from jobs.rules.rates import Rates, stage_hours
from jobs.rules.refusals import CannotPlan, NeedsTwo, TooCold, Unknown
from weather.rules.hours import HOUR, Series, SlabHours

__all__ = [
    "CannotPlan",
    "LateHands",
    "NeedsTwo",
    "TooCold",
    "Unknown",
    "elapsed_h",
    "hands_on_h",
    "idle_spans",
    "lay_out",
    "pour_to_rain_safe_h",
    "prepare_h",
    "round_up_quarter",
]

PREPARE = (
    StageKind.SET_UP,
    StageKind.MASK,
    StageKind.GRIND,
    StageKind.VACUUM,
    StageKind.VERTICALS,
)
DAY = timedelta(hours=24)


def hands_on_h(*, work: Work, card: Card, rates: Rates, crew_size: int) -> float:
    """Hours in which the crew's hands are needed, in one visit and without abrading."""
    hours = _hours(work=work, card=card, rates=rates, crew_size=crew_size)
    return sum(spent_h for kind, spent_h in hours.items() if kind is not StageKind.ABRADE)


def elapsed_h(plan: Plan) -> float:
    """Hours the crew is bound to the site: its visits with the waits inside them."""
    return sum((visit.end - visit.start) / HOUR for visit in plan.visits)


def idle_spans(plan: Plan) -> tuple[tuple[datetime, datetime], ...]:
    """The waits inside visits: time in which the crew is bound to the site with idle hands."""
    return tuple(
        (stage.start, stage.end)
        for visit in plan.visits
        for stage in visit.stages
        if stage.kind is StageKind.SET
    )


def pour_to_rain_safe_h(plan: Plan) -> float | None:
    """Hours from the first resin to the last coat being rain-safe; None if not known."""
    return None if plan.rain_safe is None else (plan.rain_safe - plan.pour) / HOUR


def prepare_h(*, work: Work, rates: Rates, crew_size: int, grinders: int | None = None) -> float:
    """Hours of preparing alone, from arriving to a floor that could be coated."""
    hours = stage_hours(work=work, rates=rates, crew_size=crew_size, resin=False, grinders=grinders)
    return sum(hours.get(kind, 0.0) for kind in PREPARE)


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
    late: LateHands | None = None,
    grinders: int | None = None,
) -> Plan:
    """The whole job on the clock for a crew that arrives at `start` on this slab.

    With `second_start`, or on a card that needs two days, there are two visits: the first
    ends after the base, or after preparing with `split_after=StageKind.VERTICALS`. Without
    `second_start` a two-day card returns 24 hours later, or when the base is ready.
    `cold_slab` bounds the promises after the top (default: `slab` itself). `grains` is the
    water in the air by the hour of the slab, for cards that cure on moisture; without it
    their lower limit is left to whoever judges the weather. `late` says that only part of
    the crew is there from the start; the base waits for the rest. `grinders` as in
    `stage_hours`. Raises CannotPlan.
    """
    start = start.astimezone(UTC)
    floor = Coater(
        card=card,
        slab=slab,
        cold=cold_slab or slab,
        grains=grains,
        set_factor=rates.set_factor,
    )
    hours = _hours(work=work, card=card, rates=rates, crew_size=crew_size, grinders=grinders)
    split = _split(card, second_start, split_after)
    going = Stretch(start, hours, crew_size, late, rest=Rest.of(rates))
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


def _hours(
    *, work: Work, card: Card, rates: Rates, crew_size: int, grinders: int | None = None
) -> dict[StageKind, float]:
    """Hours by stage; a floor without flake has nothing to scrape."""
    hours = stage_hours(
        work=work,
        rates=rates,
        crew_size=crew_size,
        abrade_h_per_m2=card.abrade_h_per_m2,
        grinders=grinders,
    )
    if card.flake_kg_per_m2 == 0:
        hours.pop(StageKind.SCRAPE, None)
    return hours
