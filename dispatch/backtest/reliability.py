"""Do the odds come true? Every working day of the year, poured as planned, against what came.

One floor of each exposure on each day, judged at every lead from the forecasts of that moment;
then the truth: true hours, a slab and a crew unlike the plan's.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from itertools import pairwise

import numpy as np

from dispatch.backtest.scenario import Order, Scenario
from dispatch.backtest.truth import TrueSlabs, harms, true_plan, true_slabs
from dispatch.backtest.world import View, World
from dispatch.rules.odds import Cause, Margins, Odds, margins_of, odds_spoiled
from dispatch.rules.verdicts import Verdict, judge
from jobs.rules.cards import Card
from jobs.rules.plan import Plan
from jobs.rules.rates import Rates
from jobs.rules.refusals import CannotPlan
from jobs.rules.stages import lay_out
from weather.rules.exposures import Exposure

MORNING, EVENING = time(6), time(17, 30)
LEADS = (0, 1, 2, 3, 5, 7)  # days; 0 is the morning itself, others the evening of so many before
EXPOSURES = (Exposure.GARAGE, Exposure.PORCH, Exposure.OPEN)
BINS = (0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1.01)


@dataclass(frozen=True, eq=False)
class Sample:
    """One floor on one day at one lead: what was said and what came."""

    day: date
    exposure: Exposure
    lead: int
    lead_h: float
    margins: Margins
    odds: Odds
    level: str
    came: frozenset[str]

    @property
    def spoiled(self) -> bool:
        """Whether any of the causes that odds are given for came."""
        return bool(self.came & {cause.value for cause in Cause})


def planned(
    order: Order, *, card: Card, scenario: Scenario, day: date, view: View
) -> tuple[Plan, Verdict]:
    """Plan and verdict of one floor on one day, as the program gives them at that moment."""
    start = datetime.combine(day, scenario.starts, tzinfo=view.zone)
    slab = view.slab_until(order.exposure, start + timedelta(days=12))
    plan = lay_out(
        work=order.work,
        card=card,
        rates=Rates(),
        crew_size=scenario.people,
        start=start,
        slab=slab,
        cold_slab=slab.side("cold"),
    )
    verdict = judge(
        plan=plan,
        card=card,
        exposure=order.exposure,
        hours=view.hours,
        slab=view.slab(order.exposure),
        now=view.now,
        zone=view.zone,
        day_end=scenario.must_end(day, view.zone),
    )
    return plan, verdict


def samples(world: World, scenario: Scenario, *, seed: int) -> Iterator[Sample]:
    """A floor of each exposure on every working day at every lead."""
    slabs = true_slabs(world, scenario)
    orders = scenario.orders(seed=seed)
    for number, day in enumerate(d for d in scenario.days() if scenario.works_on(d)):
        for exposure in EXPOSURES:
            # Sizes and what is unseen are those of the season's orders, one after another.
            order = replace(orders[number % len(orders)], exposure=exposure)
            came = _came(order, scenario, day, world, slabs)
            if came is None:
                continue
            for lead in LEADS:
                found = _said(order, scenario=scenario, day=day, lead=lead, world=world, came=came)
                if found is not None:
                    yield found


def _came(
    order: Order, scenario: Scenario, day: date, world: World, slabs: TrueSlabs
) -> frozenset[str] | None:
    card, slab = scenario.card(day), slabs.of(order)
    start = datetime.combine(day, scenario.starts, tzinfo=world.zone)
    try:
        plan = true_plan(order, card=card, people=scenario.people, start=start, slab=slab)
    except CannotPlan:
        return None
    return frozenset(harms(plan, order=order, card=card, world=world, slab=slab))


def _said(
    order: Order,
    *,
    scenario: Scenario,
    day: date,
    lead: int,
    world: World,
    came: frozenset[str],
) -> Sample | None:
    clock = EVENING if lead else MORNING
    now = datetime.combine(day - timedelta(days=lead), clock, tzinfo=world.zone)
    view = world.at(now)
    card = scenario.card(day)
    try:
        plan, verdict = planned(order, card=card, scenario=scenario, day=day, view=view)
    except CannotPlan:
        return None
    margins = margins_of(checks=verdict.checks, plan=plan, card=card, hours=view.hours)
    odds = odds_spoiled(
        margins=margins,
        exposure=order.exposure,
        lead_h=verdict.lead_h,
        season=world.season(plan.pour.month),
    )
    level = verdict.level.value
    return Sample(day, order.exposure, lead, verdict.lead_h, margins, odds, level, came)


@dataclass(frozen=True)
class Bin:
    """Floors whose odds lay in one range: how many, what was said on average, what came."""

    low: float
    high: float
    count: int
    said: float
    came: float


@dataclass(frozen=True)
class Reliability:
    """How well odds did: mean squared error, its skill against the base rate, and by ranges."""

    name: str
    count: int
    base_rate: float
    brier: float
    skill: float
    bins: tuple[Bin, ...]


def reliability(name: str, said: Sequence[float], came: Sequence[bool]) -> Reliability:
    """The table of one group; skill is 0 for always saying the base rate, 1 for knowing."""
    odds, events = np.asarray(said), np.asarray(came, dtype=float)
    base = float(events.mean())
    brier = float(((odds - events) ** 2).mean())
    usual = base * (1 - base)
    found = []
    for low, high in pairwise(BINS):
        inside = (odds >= low) & (odds < high)
        if inside.any():
            count = int(inside.sum())
            mean, share = float(odds[inside].mean()), float(events[inside].mean())
            found.append(Bin(low, min(high, 1.0), count, mean, share))
    skill = 1 - brier / usual if usual else 0.0
    return Reliability(name, len(odds), base, brier, skill, tuple(found))


def tables(found: Iterable[Sample]) -> list[Reliability]:
    """Reliability of all floors, by exposure, by lead and by cause."""
    every = list(found)
    groups: list[tuple[str, list[Sample]]] = [("all", every)]
    groups += [(e.value, [s for s in every if s.exposure is e]) for e in EXPOSURES]
    groups += [(f"{lead} d", [s for s in every if s.lead == lead]) for lead in LEADS]
    told = [
        reliability(name, [s.odds.total for s in group], [s.spoiled for s in group])
        for name, group in groups
        if group
    ]
    for cause in Cause:
        those = [s for s in every if any(part.cause is cause for part in s.odds.parts)]
        odds = [s.odds.of(cause) for s in those]
        told.append(reliability(cause.value, odds, [cause.value in s.came for s in those]))
    return told
