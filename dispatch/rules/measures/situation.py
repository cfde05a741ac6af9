"""A floor on a day, with everything about it that a measure may change."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Protocol
from zoneinfo import ZoneInfo

import numpy as np

from dispatch.rules.costs import Costs
from dispatch.rules.covers import Cover
from dispatch.rules.findings import Dryness, Part
from dispatch.rules.horizon import extended
from dispatch.rules.several import worst_of
from dispatch.rules.thresholds import DEFAULTS, Thresholds
from dispatch.rules.verdicts import Verdict, judge
from jobs.rules.bays import lay_in_bays
from jobs.rules.cards import Card
from jobs.rules.day_hours import DayHours
from jobs.rules.doors import Span, open_spans
from jobs.rules.other_water import Water
from jobs.rules.plan import Plan, StageKind, Work
from jobs.rules.rates import Rates
from jobs.rules.refusals import CannotPlan
from jobs.rules.stages import lay_out
from weather.rules.exposures import Exposure
from weather.rules.heaters import Heater, with_water
from weather.rules.hours import Hours, Series, SlabHours
from weather.rules.moist_air import grains_per_lb

LONGEST = timedelta(days=12)


class Slabs(Protocol):
    """Gives the slab of an exposure with a door open for some spans, and with heaters."""

    def __call__(
        self, exposure: Exposure, *, door_open: Sequence[Span], heaters: Sequence[Heater]
    ) -> SlabHours: ...


@dataclass(frozen=True)
class Held:
    """Slabs that are what they are, whatever is done: one for every exposure."""

    slab: SlabHours

    def __call__(
        self, exposure: Exposure, *, door_open: Sequence[Span], heaters: Sequence[Heater]
    ) -> SlabHours:
        """The slab that is held."""
        return self.slab


@dataclass(frozen=True)
class SiteTimes:
    """When one may be on a site, and when one may be loud there, day by day.

    Quiet work (setting up, masking, coating) may be done from `opens` to `closes`, noisy work
    from `noisy_from` to `noisy_until`. `usually` is when the crew's day begins;
    `closes_words` is what happens when it ends.
    """

    zone: ZoneInfo
    hours: Callable[[date], DayHours]
    usually: time
    closes_words: str = "site closes"

    def day(self, instant: datetime) -> date:
        """The date at the site."""
        return instant.astimezone(self.zone).date()

    def at(self, day: date, clock: time) -> datetime:
        """The instant (UTC) at which the site's clocks show `clock`."""
        return datetime.combine(day, clock, tzinfo=self.zone).astimezone(UTC)

    def opens(self, day: date) -> datetime:
        """When somebody may be there."""
        return self.at(day, self.hours(day).opens)

    def usual(self, day: date) -> datetime:
        """When the crew's day begins, where nothing asks for another start."""
        return max(self.opens(day), self.at(day, self.usually))

    def closes(self, day: date) -> datetime:
        """When everybody must have left."""
        return self.at(day, self.hours(day).closes)

    def noisy_from(self, day: date) -> datetime:
        """When noise may begin."""
        return self.at(day, self.hours(day).noisy_from)

    def noisy_until(self, day: date) -> datetime:
        """When noise must have ended."""
        return self.at(day, self.hours(day).noisy_until)

    def refuses(self, plan: Plan) -> bool:
        """Whether somebody would be there, or be loud, when one may not."""
        for visit in plan.visits:
            day = self.day(visit.start)
            if self.hours(day).closed:
                return True
            if visit.start < self.opens(day) or visit.end > self.closes(day):
                return True
            loud = [stage for stage in visit.stages if stage.kind.noisy]
            first, last = self.noisy_from(day), self.noisy_until(day)
            if any(stage.start < first or stage.end > last for stage in loud):
                return True
        return False


@dataclass(frozen=True)
class FloorHere:
    """One floor of the job: how it lies, its parts, its dryness and what else wets it.

    `slabs` and `hours` are its own where they differ from those of the others; `read` says
    that somebody measured it.
    """

    exposure: Exposure
    parts: tuple[tuple[str, Exposure], ...] = ()
    dryness: Dryness | None = None
    waters: tuple[Water, ...] = ()
    slabs: Slabs | None = None
    hours: Hours | None = None
    read: bool = False

    @property
    def behind_a_door(self) -> bool:
        """Whether any of it feels a garage's door."""
        return self.exposure.behind_a_door or any(each.behind_a_door for _, each in self.parts)


@dataclass(frozen=True)
class Outcome:
    """What comes of a situation."""

    plan: Plan
    verdict: Verdict


@dataclass(frozen=True, eq=False, kw_only=True)
class Situation:
    """A floor on a day as it stands. `judged` says what comes of it.

    `spare_hands` may join until `spare_until`; `other_days` are open to a move. `heatable`
    says that `slabs` reckons with heaters.
    """

    work: Work
    card: Card
    rates: Rates
    crew_size: int
    start: datetime
    hours: Hours
    floors: tuple[FloorHere, ...]
    slabs: Slabs
    now: datetime
    times: SiteTimes
    second_start: datetime | None = None
    split_after: StageKind = StageKind.BASE
    thresholds: Thresholds = DEFAULTS
    costs: Costs = field(default_factory=Costs)
    units: str = "us"
    reading: bool = False
    covers: frozenset[Cover] = frozenset()
    heaters: tuple[Heater, ...] = ()
    heatable: bool = False
    spare_hands: int = 0
    spare_until: datetime | None = None
    other_days: tuple[date, ...] = ()
    bays: int = 1
    grinders: int | None = None

    @property
    def day(self) -> date:
        """The day of the pour as it stands, at the site."""
        last = self.second_start if self.split_after is StageKind.VERTICALS else None
        return self.times.day(last or self.start)

    @property
    def enclosed(self) -> bool:
        """Whether any floor can be heated."""
        return any(floor.exposure.enclosed for floor in self.floors)

    def judged(self, *, door: bool = True) -> Outcome:
        """The plan and its verdict. Raises CannotPlan. Without `door` it stays shut."""
        plan = self._laid(())
        spans: tuple[Span, ...] = ()
        if door and self._feels_the_door():
            spans = open_spans(plan)
            plan = self._laid(spans)
        return Outcome(plan, worst_of([self._of(floor, plan, spans) for floor in self.floors]))

    def allowed(self, *, door: bool = True) -> Outcome:
        """`judged`, refused where somebody would be there or loud when one may not."""
        found = self.judged(door=door)
        if self.times.refuses(found.plan):
            raise CannotPlan("That is outside the hours in which one may work there.")
        return found

    def changed(self, **fields: object) -> "Situation":
        """The same with some fields put otherwise."""
        return replace(self, **fields)  # type: ignore[arg-type]

    def _feels_the_door(self) -> bool:
        shut = Cover.TARP in self.covers
        return not shut and any(floor.behind_a_door for floor in self.floors)

    def _slab(self, floor: FloorHere, exposure: Exposure, spans: tuple[Span, ...]) -> SlabHours:
        slabs = floor.slabs or self.slabs
        return slabs(
            exposure,
            door_open=spans if exposure.behind_a_door else (),
            heaters=self.heaters if exposure.enclosed else (),
        )

    def _laid(self, spans: tuple[Span, ...]) -> Plan:
        until = self.start + LONGEST
        slabs = [extended(self._slab(floor, floor.exposure, spans), until) for floor in self.floors]
        slab = min(slabs, key=_mean_c)
        given: dict[str, Any] = {
            "work": self.work,
            "card": self.card,
            "rates": self.rates,
            "crew_size": self.crew_size,
            "start": self.start,
            "second_start": self.second_start,
            "grinders": self.grinders,
            "slab": slab,
            "cold_slab": slab.side("cold"),
            "grains": _grains(self.hours, slab),
        }
        if self.bays > 1:
            return lay_in_bays(bays=self.bays, **given)
        return lay_out(split_after=self.split_after, **given)

    def _of(self, floor: FloorHere, plan: Plan, spans: tuple[Span, ...]) -> Verdict:
        pour_day = self.times.day(plan.pour)
        hours = floor.hours or self.hours
        return judge(
            plan=plan,
            card=self.card,
            exposure=floor.exposure,
            parts=tuple(
                Part(name, each, self._slab(floor, each, spans)) for name, each in floor.parts
            ),
            hours=with_water(hours, self.heaters) if floor.exposure.enclosed else hours,
            slab=self._slab(floor, floor.exposure, spans),
            now=self.now,
            zone=self.times.zone,
            thresholds=self.thresholds,
            dryness=floor.dryness,
            reading=self.reading or floor.read,
            day_start=self.times.opens(pour_day),
            day_end=self.times.closes(pour_day),
            day_end_words=self.times.closes_words,
            waters=floor.waters,
            covers=self.covers,
            units=self.units,
        )


def _mean_c(slab: SlabHours) -> float:
    known = slab.mid_c[~np.isnan(slab.mid_c)]
    return float(known.mean()) if len(known) else float("inf")


def _grains(hours: Hours, slab: SlabHours) -> Series:
    grains = np.full(len(slab), np.nan)
    known = np.asarray(grains_per_lb(dew_c=hours.dew_c))
    count = min(len(grains), len(known))
    grains[:count] = known[:count]
    return grains
