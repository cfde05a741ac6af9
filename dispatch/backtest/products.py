"""How an office decides with the program: its offers, its verdicts, its odds and its promises.

All by the program's own rules: `lay_out`, `judge`, `odds_spoiled`, `cost_parts`, `firmest`. What
the backtest leaves out is the database, the road between floors and a second floor on one day.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta

from dispatch.backtest.office import Booked, Go, Office, Seat, Telling
from dispatch.backtest.scenario import Order
from dispatch.rules.costs import Costs, cost_parts
from dispatch.rules.findings import Level
from dispatch.rules.firmness import Firmness, firmest
from dispatch.rules.odds import margins_of, odds_spoiled
from dispatch.rules.thresholds import Thresholds
from dispatch.rules.verdicts import Verdict, judge
from jobs.rules.plan import Plan
from jobs.rules.rates import Rates
from jobs.rules.refusals import CannotPlan
from jobs.rules.stages import lay_out
from weather.rules.exposures import Exposure
from weather.rules.hours import HOUR

DRY_PCT = 15.0
Key = tuple[datetime | None, int, date, time]  # known when, order, day, start


@dataclass(frozen=True, eq=False)
class Reckoned:
    """One floor on one day as the program sees it at one moment."""

    plan: Plan
    verdict: Verdict
    cost: float


@dataclass(frozen=True, eq=False)
class OffersAndVerdicts:
    """The cheapest offer; the final call the evening before, and the morning's reading."""

    letter: str = "c"
    words: str = "offers and verdicts, final call, morning reading, prepare only"
    confirms_at_once: bool = False
    thresholds: Thresholds = field(default_factory=Thresholds)
    costs: Costs = field(default_factory=Costs)
    several_starts: bool = True
    gives_back: bool = True
    refused: Counter[tuple[Exposure, str]] = field(default_factory=Counter)
    seen: dict[tuple[datetime | None, int, date, time], "Reckoned | None"] = field(
        default_factory=dict
    )

    def seat(self, order: Order, office: Office) -> Seat | None:
        """The seat of the cheapest offer; None where no day can be offered."""
        best: tuple[float, Seat] | None = None
        for seat in office.free_days():
            offer = self.offer(order, seat.day, office)
            if offer is not None and (best is None or offer[1].cost < best[0]):
                best = (offer[1].cost, replace(seat, start=offer[0]))
        return best[1] if best else None

    def offer(self, order: Order, day: date, office: Office) -> tuple[time, "Reckoned"] | None:
        """The first start of a day that holds; None, and counted, where all are refused."""
        refused = ""
        for start in self.starts_of(office):
            found = self.reckoned(order, day, start, office)
            if found is not None and found.verdict.level is not Level.NO:
                return start, found
            if not refused:
                refused = found.verdict.checks[0].name if found else "too long for the day"
        self.refused[order.exposure, refused] += 1
        return None

    def starts_of(self, office: Office) -> tuple[time, ...]:
        """When a crew may come: as a rule, and otherwise."""
        others = office.scenario.other_starts if self.several_starts else ()
        return (office.scenario.starts, *others)

    def confirm(self, booked: Booked, office: Office) -> Telling:
        """As firm as the program promises a day at this lead; a refused one is given back."""
        found = self.reckoned(booked.order, booked.seat.day, booked.seat.start, office)
        level = found.verdict.level if found else Level.NO
        if self._told_at(booked, office, level):
            return Telling.TELL
        # A day that would be told by now, were it not for its weather.
        due = self._told_at(booked, office, Level.GO)
        if due and level is Level.NO and self.gives_back:
            return Telling.RELEASE
        return Telling.WAIT

    @staticmethod
    def _told_at(booked: Booked, office: Office, level: Level) -> bool:
        """Whether the program would tell the customer a day this far off with such a verdict."""
        firmness = firmest(
            exposures=(booked.order.exposure,),
            fixed=False,
            lead_days=(booked.seat.day - office.today).days,
            level=level,
        )
        return firmness is Firmness.CONFIRMED

    def replan(self, office: Office) -> Mapping[int, Seat]:
        """Nothing moves between booking and the final call."""
        return {}

    def final_call(self, booked: Booked, office: Office) -> Go:
        """Go and care stand, at another start of the day if need be; no and unknown do not."""
        go = self._stands(booked, office)
        if go.goes:
            return go
        other = self.offer(booked.order, booked.seat.day, office)
        if other is None or other[1].verdict.level is Level.UNKNOWN:
            return go
        return replace(go, goes=True, start=other[0])

    def drive_on(self, booked: Booked, office: Office) -> Plan | None:
        """The plan of the evening before."""
        found = self.reckoned(booked.order, booked.seat.day, booked.seat.start, office)
        return found.plan if found else None

    def morning(self, booked: Booked, office: Office) -> Go:
        """Judged again at six; resin by the last safe pour, the slab metered where near dew."""
        return self._stands(booked, office)

    def _stands(self, booked: Booked, office: Office) -> Go:
        found = self.reckoned(booked.order, booked.seat.day, booked.seat.start, office)
        if found is None:
            return Go(goes=False, why="too long for the day")
        verdict = found.verdict
        if verdict.level in {Level.NO, Level.UNKNOWN}:
            return Go(goes=False, why=verdict.checks[0].name)
        near_dew = any(check.name == "dew" for check in verdict.reasons)
        return Go(goes=True, pour_by=verdict.last_safe_pour, meter=near_dew)

    def reckoned(self, order: Order, day: date, start: time, office: Office) -> "Reckoned | None":
        """Plan, verdict and cost of a floor on a day, worked out once; None if it does not fit."""
        # With the truth as forecast a far day looks the same every evening.
        far = office.world.foresight and (day - office.today).days > 1
        key = (None if far else office.view.now, order.number, day, start)
        if key not in self.seen:
            self.seen[key] = self._reckon(order, day, start, office)
        return self.seen[key]

    def _reckon(self, order: Order, day: date, at: time, office: Office) -> "Reckoned | None":
        scenario, view = office.scenario, office.view
        card, zone = scenario.card(day), view.zone
        start, latest = datetime.combine(day, at, tzinfo=zone), scenario.must_end(day, zone)
        slab = view.slab_until(order.exposure, start + timedelta(days=12))
        try:
            plan = lay_out(
                work=order.work,
                card=card,
                rates=Rates(),
                crew_size=scenario.people,
                start=start,
                slab=slab,
                cold_slab=slab.side("cold"),
            )
        except CannotPlan:
            return None
        if plan.end > latest:
            return None
        verdict = judge(
            plan=plan,
            card=card,
            exposure=order.exposure,
            hours=view.hours,
            slab=view.slab(order.exposure),
            now=view.now,
            zone=zone,
            thresholds=self.thresholds,
            day_end=latest,
        )
        return Reckoned(plan, verdict, self._cost(order, day, plan, verdict, office))

    def _cost(self, order: Order, day: date, plan: Plan, verdict: Verdict, office: Office) -> float:
        scenario, view = office.scenario, office.view
        margins = margins_of(
            checks=verdict.checks, plan=plan, card=scenario.card(day), hours=view.hours
        )
        odds = odds_spoiled(
            margins=margins,
            exposure=order.exposure,
            lead_h=verdict.lead_h,
            season=office.world.season(plan.pour.month),
        )
        lead = (day - office.today).days
        parts = cost_parts(
            costs=self.costs,
            level=verdict.level,
            lead_days=lead,
            travel_min=2 * scenario.travel_min,
            waited_days=lead,
            idle_h=max(0.0, (scenario.must_end(day, view.zone) - plan.end) / HOUR),
            takes_dry_day=order.exposure.enclosed
            and verdict.level is Level.GO
            and _dry(day, office),
            misses_wish=False,
            visits=len(plan.visits),
            odds=odds.total,
            loss=self.costs.loss(scenario.prices.floor_m2 * order.work.area_m2),
        )
        return sum(part.amount for part in parts)


def _dry(day: date, office: Office) -> bool:
    start = datetime(day.year, day.month, day.day, 6, tzinfo=office.world.zone)
    chance = office.view.hours.between(start, start + 14 * HOUR).rain_chance_pct
    return bool((chance < DRY_PCT).all())
