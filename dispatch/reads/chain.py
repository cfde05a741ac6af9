"""The chain for one job: its hours of weather, its slabs, its stages and its verdict."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from dispatch.models import Machine
from dispatch.reads.grounds import Ground, Known, grounds_of
from dispatch.reads.kept_slabs import slabs
from dispatch.rules.horizon import extended, known_until
from dispatch.rules.several import worst_of
from dispatch.rules.thresholds import Thresholds
from dispatch.rules.verdicts import Verdict, judge
from jobs.described import Order
from jobs.models import Branch
from jobs.rules.bays import lay_in_bays
from jobs.rules.cards import Card
from jobs.rules.doors import open_spans
from jobs.rules.learning import with_learnt
from jobs.rules.machines import pace_of, rates_with
from jobs.rules.plan import Plan, StageKind, Work
from jobs.rules.promises import promised_on
from jobs.rules.rates import Pace, Rates
from jobs.rules.stages import lay_out
from weather import reads as weather
from weather.models import Forecast, Place
from weather.rules.exposures import Exposure
from weather.rules.hours import Hours, Series, SlabHours
from weather.rules.moist_air import grains_per_lb

LEARNT = "learnt"  # the key of a branch's rates that holds factors
PAST_DAYS = 15
AHEAD_DAYS = 11
CARRY_STEP = timedelta(days=10)


def mean_c(slab: SlabHours) -> float:
    """Mean of the known hours (°C); very warm where nothing is known, so that it never rules."""
    known = slab.mid_c[~np.isnan(slab.mid_c)]
    return float(known.mean()) if len(known) else float("inf")


@dataclass(frozen=True, eq=False)
class Setting:
    """Everything the chain needs about one job at one moment."""

    job: Order
    work: Work
    card: Card
    rates: Rates
    thresholds: Thresholds
    zone: ZoneInfo
    units: str
    now: datetime
    hours: Hours
    grounds: tuple[Ground, ...]
    forecast: Forecast | None
    nearby: str
    # The same with the door open, by plan: a slab takes tens of milliseconds, and laying,
    # judging and drawing one plan ask for the same one.
    doors: dict[tuple[object, ...], "Setting"] = field(default_factory=dict)
    carried: dict[datetime, SlabHours] = field(default_factory=dict)

    @property
    def known_until(self) -> datetime:
        """How far the weather is known for every floor."""
        return min(known_until(ground.slab) for ground in self.grounds)

    def coldest(self, until: datetime) -> SlabHours:
        """The slab that holds the job up longest, carried on beyond the forecast.

        It is carried on by whole steps, so that neighboring starts share one slab and the sums
        of cure that are kept for it.
        """
        steps = max(0, -((self.hours.start - until) // CARRY_STEP))
        until = self.hours.start + steps * CARRY_STEP
        if until not in self.carried:
            slabs = [extended(ground.slab, until) for ground in self.grounds]
            self.carried[until] = min(slabs, key=mean_c)
        return self.carried[until]


def setting_for(job: Order, *, now: datetime) -> Setting:
    """Read the weather and the settings for `job`; one forecast, one slab for each floor."""
    branch = job.branch
    place, nearby = _place(job.site.place)
    hours = weather.hours_at(place, now=now, past_days=PAST_DAYS, ahead_days=AHEAD_DAYS)
    return Setting(
        job=job,
        work=job.work(),
        card=job.system.card,
        rates=rates_of(branch),
        thresholds=thresholds_of(branch),
        zone=job.site.tz,
        units=branch.units,
        now=now,
        hours=hours,
        grounds=grounds_of(job, hours=hours, now=now),
        forecast=weather.latest_forecast(place, now=now),
        nearby=nearby,
    )


def lay(
    setting: Setting,
    *,
    crew_size: int,
    start: datetime,
    second_start: datetime | None = None,
    split_after: StageKind = StageKind.BASE,
    bays: int = 1,
    grinders: int | None = None,
    door: bool = True,
) -> Plan:
    """The job's stages on the clock; promises rest on the cold side. Raises CannotPlan.

    In several `bays` it is ground as a whole and then coated bay by bay, on the second visit if
    there is one. Behind a garage's door the work is laid out once to know when the door stands
    open, and again on the slab that feels it. With `door` False it stays shut, which a search
    over hundreds of starts can afford.
    """
    hands = {"crew_size": crew_size, "grinders": grinders}
    visits = {"start": start, "second_start": second_start}

    def laid(here: Setting) -> Plan:
        given = {**_given(here, start), **hands, **visits}
        if bays > 1:
            return lay_in_bays(bays=bays, **given)
        return lay_out(split_after=split_after, **given)

    shut = laid(setting)
    return laid(with_door_open(setting, shut)) if door else shut


def _given(setting: Setting, start: datetime) -> dict[str, Any]:
    """What both ways of laying a floor out are told of it and of its slab."""
    slab = setting.coldest(start + timedelta(days=12))
    return {
        "work": setting.work,
        "card": setting.card,
        "rates": setting.rates,
        "slab": slab,
        "cold_slab": cold_side(setting, slab),
        "grains": grains_of(setting.hours, slab),
    }


def cold_side(setting: Setting, slab: SlabHours) -> SlabHours:
    """The slab that promises rest on, for a slab of this setting."""
    grounds = setting.grounds
    return promised_on(
        card=setting.card,
        slab=slab,
        hours=setting.hours,
        indoors=all(ground.exposure is Exposure.INTERIOR for ground in grounds),
        heated=[(each.start, each.end) for ground in grounds for each in ground.heaters],
    )


def with_door_open(setting: Setting, plan: Plan) -> Setting:
    """`setting` with the slabs as they are while the door stands open for this plan."""
    felt = any(ground.feels_the_door for ground in setting.grounds)
    if not felt or plan.start >= setting.known_until:
        return setting
    # The stages of a plan shift by minutes once the door is reckoned with: whoever lays,
    # judges and draws it is to see one slab, so arrivals and hands name it.
    key = tuple((visit.start, len(visit.stages), visit.stages[0].hands) for visit in plan.visits)
    if key not in setting.doors:
        known, spans = Known(setting.job, setting.hours, setting.now), open_spans(plan)
        grounds = tuple(ground.opened(known, spans) for ground in setting.grounds)
        setting.doors[key] = replace(setting, grounds=grounds, doors={}, carried={})
    return setting.doors[key]


def warm_doors(setting: Setting, plans: Iterable[Plan]) -> None:
    """Work out together what `with_door_open` will ask for these plans, which is quicker."""
    known = Known(setting.job, setting.hours, setting.now)
    near = [plan for plan in plans if plan.start < setting.known_until]
    wanted = [
        each
        for plan in near
        for ground in setting.grounds
        for each in ground.doors(known, open_spans(plan))
    ]
    if wanted:
        slabs(wanted, hours=setting.hours, now=setting.now)


def verdict_on(
    setting: Setting,
    plan: Plan,
    *,
    day_start: datetime | None = None,
    day_end: datetime | None = None,
    day_end_words: str = "site closes",
    door: bool = True,
) -> Verdict:
    """What the forecast says of the plan: of several floors the worst rules.

    `day_start`, `day_end` and its words as in `judge`. `door` as in `lay`: whether slabs
    behind a garage's door feel it stand open.
    """
    grounds = (with_door_open(setting, plan) if door else setting).grounds
    verdicts = [
        judge(
            plan=plan,
            card=setting.card,
            exposure=ground.exposure,
            parts=ground.parts,
            hours=ground.hours,
            slab=ground.slab,
            now=setting.now,
            zone=setting.zone,
            thresholds=setting.thresholds,
            dryness=ground.dryness,
            reading=ground.read_lately,
            day_start=day_start,
            day_end=day_end,
            day_end_words=day_end_words,
            waters=ground.waters,
            units=setting.units,
        )
        for ground in grounds
    ]
    return worst_of(verdicts)


def beyond_forecast(setting: Setting, plan: Plan) -> bool:
    """Whether the plan lies (also in part) where no forecast reaches."""
    return (plan.rain_safe or plan.end) > setting.known_until


def with_grinders(setting: Setting, grinders: Iterable[Machine]) -> Setting:
    """The same floor at the pace of these grinders: of several the slowest counts."""
    rates = rates_set(setting.job.branch)
    paces = [each.rate for each in grinders]
    if not paces:
        return setting
    slowest = min(paces, key=lambda each: pace_of(each, rates))
    rates = _learnt(rates_with(rates, slowest), setting.job.branch)
    return setting if rates == setting.rates else replace(setting, rates=rates, doors={})


def rates_of(branch: Branch) -> Rates:
    """The branch's labour rates, with what its own days taught where it uses that."""
    return _learnt(rates_set(branch), branch)


def _learnt(rates: Rates, branch: Branch) -> Rates:
    return with_learnt(rates, branch.rates.get(LEARNT, {}))


def rates_set(branch: Branch) -> Rates:
    """The defaults with what the branch has set, without anything learnt."""
    changed: dict[str, Any] = {
        name: Pace(**value) if isinstance(value, Mapping) else value
        for name, value in branch.rates.items()
        if name != LEARNT
    }
    return replace(Rates(), **changed)


def thresholds_of(branch: Branch) -> Thresholds:
    """The branch's thresholds: the defaults with what the branch has set."""
    return replace(Thresholds(), **branch.thresholds)


def _place(place: Place) -> tuple[Place, str]:
    """The place itself, or the nearest one with a forecast and a sentence that says so."""
    if place.pk and place.forecasts.counting().exists():
        return place, ""
    near = weather.nearest_with_forecast(place)
    if near is None:
        return place, "No forecast has been fetched for this place yet."
    other, away_km = near
    return other, f"Weather is that of {other}, {away_km:.0f} km away, until this place is fetched."


def grains_of(hours: Hours, slab: SlabHours) -> Series:
    """Water in the air for each hour of the slab, unknown beyond the forecast."""
    grains = np.full(len(slab), np.nan)
    known = np.asarray(grains_per_lb(dew_c=hours.dew_c))
    count = min(len(grains), len(known))
    grains[:count] = known[:count]
    return grains
