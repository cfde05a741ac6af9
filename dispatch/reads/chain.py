"""The chain for one job: its hours of weather, its slabs, its stages and its verdict."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from dispatch.rules.findings import Dryness, Part, PartDryness
from dispatch.rules.horizon import extended, known_until
from dispatch.rules.thresholds import Thresholds
from dispatch.rules.verdicts import Verdict, judge
from jobs.models import Branch, Floor, Job
from jobs.models.customers import WHOLE_FLOOR
from jobs.rules.cards import Card
from jobs.rules.doors import Span, open_spans
from jobs.rules.learning import with_learnt
from jobs.rules.plan import Plan, StageKind, Work
from jobs.rules.promises import promised_on
from jobs.rules.rates import Pace, Rates
from jobs.rules.stages import lay_out
from weather import reads as weather
from weather.models import Forecast, Place
from weather.rules.exposures import Exposure
from weather.rules.hours import Hours, Series, SlabHours
from weather.rules.moist_air import grains_per_lb
from weather.rules.slab import slab_hours

LEARNT = "learnt"  # the key of a branch's rates that holds factors
PAST_DAYS = 15
AHEAD_DAYS = 11


@dataclass(frozen=True, eq=False)
class Ground:
    """One floor of a job with its slab and its parts."""

    name: str
    exposure: Exposure
    slab: SlabHours
    parts: tuple[Part, ...]
    dryness: Dryness | None

    @property
    def feels_the_door(self) -> bool:
        """Whether any of it lies behind or under a garage's door."""
        parts = (part.exposure for part in self.parts)
        return any(exposure.behind_a_door for exposure in (self.exposure, *parts))


def mean_c(slab: SlabHours) -> float:
    """Mean of the known hours (°C); very warm where nothing is known, so that it never rules."""
    known = slab.mid_c[~np.isnan(slab.mid_c)]
    return float(known.mean()) if len(known) else float("inf")


@dataclass(frozen=True, eq=False)
class Setting:
    """Everything the chain needs about one job at one moment."""

    job: Job
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

    @property
    def known_until(self) -> datetime:
        """How far the weather is known for every floor."""
        return min(known_until(ground.slab) for ground in self.grounds)

    def coldest(self, until: datetime) -> SlabHours:
        """The slab that holds the job up longest, carried on beyond the forecast."""
        slabs = [extended(ground.slab, until) for ground in self.grounds]
        return min(slabs, key=mean_c)


def setting_for(job: Job, *, now: datetime) -> Setting:
    """Read the weather and the settings for `job`; one forecast, one slab for each floor."""
    branch = job.branch
    place, nearby = _place(job.site.place)
    hours = weather.hours_at(place, now=now, past_days=PAST_DAYS, ahead_days=AHEAD_DAYS)
    grounds = tuple(_ground(floor, job, hours, now) for floor in job.floors.all())
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
        grounds=grounds,
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
    door: bool = True,
) -> Plan:
    """The job's stages on the clock; promises rest on the cold side. Raises CannotPlan.

    Behind a garage's door the work is laid out once to know when the door stands open, and
    again on the slab that feels it. With `door` False it stays shut, which a search over
    hundreds of starts can afford.
    """

    def laid(here: Setting) -> Plan:
        return _lay(
            here,
            crew_size=crew_size,
            start=start,
            second_start=second_start,
            split_after=split_after,
        )

    shut = laid(setting)
    return laid(with_door_open(setting, shut)) if door else shut


def _lay(
    setting: Setting,
    *,
    crew_size: int,
    start: datetime,
    second_start: datetime | None,
    split_after: StageKind,
) -> Plan:
    slab = setting.coldest(start + timedelta(days=12))
    return lay_out(
        work=setting.work,
        card=setting.card,
        rates=setting.rates,
        crew_size=crew_size,
        start=start,
        second_start=second_start,
        slab=slab,
        cold_slab=promised_on(
            card=setting.card,
            slab=slab,
            hours=setting.hours,
            indoors=all(ground.exposure is Exposure.INTERIOR for ground in setting.grounds),
        ),
        grains=_grains(setting.hours, slab),
        split_after=split_after,
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
        grounds = tuple(_opened(ground, setting, open_spans(plan)) for ground in setting.grounds)
        setting.doors[key] = replace(setting, grounds=grounds, doors={})
    return setting.doors[key]


def _opened(ground: Ground, setting: Setting, spans: Sequence[Span]) -> Ground:
    """The ground with the slab of every part that the open door reaches worked out again."""

    def slab(exposure: Exposure, shut: SlabHours | None) -> SlabHours | None:
        if not exposure.behind_a_door:
            return shut
        return _slab(exposure, setting.job, setting.hours, setting.now, spans)

    own = slab(ground.exposure, ground.slab) or ground.slab
    parts = tuple(
        replace(part, slab=own)
        if part.exposure is ground.exposure
        else replace(part, slab=slab(part.exposure, part.slab))
        for part in ground.parts
    )
    return replace(ground, slab=own, parts=parts)


def verdict_on(
    setting: Setting, plan: Plan, *, day_end: datetime | None = None, door: bool = True
) -> Verdict:
    """What the forecast says of the plan: of several floors the worst rules.

    `door` as in `lay`: whether slabs behind a garage's door feel it stand open.
    """
    grounds = (with_door_open(setting, plan) if door else setting).grounds
    verdicts = [
        judge(
            plan=plan,
            card=setting.card,
            exposure=ground.exposure,
            parts=ground.parts,
            hours=setting.hours,
            slab=ground.slab,
            now=setting.now,
            zone=setting.zone,
            thresholds=setting.thresholds,
            dryness=ground.dryness,
            day_end=day_end,
            units=setting.units,
        )
        for ground in grounds
    ]
    worst = max(verdicts, key=lambda verdict: verdict.level.severity)
    pours = [each for each in verdicts if each.last_safe_pour is not None]
    if not pours:
        return worst
    # The crew pours all floors in one go, so the earliest gate of any of them rules.
    first = min(pours, key=_last_pour)
    return replace(
        worst,
        last_safe_pour=first.last_safe_pour,
        binds=first.binds,
        slack_min=first.slack_min,
    )


def _last_pour(verdict: Verdict) -> datetime:
    return verdict.last_safe_pour or datetime.max.replace(tzinfo=UTC)


def beyond_forecast(setting: Setting, plan: Plan) -> bool:
    """Whether the plan lies (also in part) where no forecast reaches."""
    return (plan.rain_safe or plan.end) > setting.known_until


def rates_of(branch: Branch) -> Rates:
    """The branch's labour rates, with what its own days taught where it uses that."""
    return with_learnt(rates_set(branch), branch.rates.get(LEARNT, {}))


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
    if place.forecasts.counting().exists():
        return place, ""
    near = weather.nearest_with_forecast(place)
    if near is None:
        return place, "No forecast has been fetched for this place yet."
    other, away_km = near
    return other, f"Weather is that of {other}, {away_km:.0f} km away, until this place is fetched."


def _ground(floor: Floor, job: Job, hours: Hours, now: datetime) -> Ground:
    exposure = Exposure(floor.exposure)
    slab = _slab(exposure, job, hours, now)
    parts, dry = [], []
    for part in floor.parts.all():
        theirs = Exposure(part.exposure)
        own = slab if theirs is exposure else _slab(theirs, job, hours, now)
        if part.name != WHOLE_FLOOR:
            parts.append(Part(name=part.name, exposure=theirs, slab=own))
        if part.wetted_at or part.looked_dry_at:
            dry.append(
                PartDryness(
                    part=part.name,
                    wetted_at=part.wetted_at,
                    looked_dry_at=part.looked_dry_at,
                    estimated=part.estimated,
                )
            )
    noted = [part.noted_at for part in floor.parts.all() if part.noted_at]
    seen = Dryness(tuple(dry), noted_at=max(noted, default=None)) if dry else None
    return Ground(floor.name, exposure, slab, tuple(parts), seen)


def _slab(
    exposure: Exposure,
    job: Job,
    hours: Hours,
    now: datetime,
    door_open: Sequence[Span] = (),
) -> SlabHours:
    return slab_hours(
        hours=hours,
        exposure=exposure,
        latitude=job.site.latitude,
        longitude=job.site.longitude,
        now=now,
        garage_offset_c=job.branch.garage_offset_c,
        door_open=door_open,
    )


def _grains(hours: Hours, slab: SlabHours) -> Series:
    """Water in the air for each hour of the slab, unknown beyond the forecast."""
    grains = np.full(len(slab), np.nan)
    known = np.asarray(grains_per_lb(dew_c=hours.dew_c))
    count = min(len(grains), len(known))
    grains[:count] = known[:count]
    return grains
