"""One floor on one day, without a booking: its stages, slab, limits and materials."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from dispatch.reads.orders import orders_for
from dispatch.rules.findings import Dryness, PartDryness
from dispatch.rules.horizon import extended
from dispatch.rules.thresholds import Thresholds
from dispatch.rules.verdicts import Verdict, judge
from jobs.rules.bays import lay_in_bays
from jobs.rules.cards import Card
from jobs.rules.doors import Span, open_spans
from jobs.rules.materials import Materials, materials
from jobs.rules.ordering import OrderLine
from jobs.rules.plan import Plan, StageKind, Work
from jobs.rules.promises import promised_on
from jobs.rules.rates import Rates
from jobs.rules.stages import lay_out
from weather import reads as weather
from weather.models import Place
from weather.rules.exposures import Exposure
from weather.rules.heaters import Heater, with_water
from weather.rules.hours import HOUR, Hours, SlabHours
from weather.rules.moist_air import grains_per_lb
from weather.rules.slab import SlabReading, slab_hours

PAST_DAYS, AHEAD_DAYS = 15, 11


@dataclass(frozen=True)
class Asked:
    """What is asked: a floor, a system, a crew and its arrival."""

    work: Work
    exposure: Exposure
    card: Card
    start: datetime
    crew_size: int
    rates: Rates
    thresholds: Thresholds
    units: str
    leave_by: datetime  # on the day of the arrival
    reading_c: float | None = None  # the slab, measured just now
    garage_offset_c: float = 7.0
    bays: int = 1  # sections at joints
    second_start: datetime | None = None  # a visit of its own for the coats
    grinders: int | None = None
    heaters: tuple[Heater, ...] = ()  # that stand in the room before or after the crew
    dry_since: datetime | None = None  # when somebody saw it dry
    split_after: StageKind = StageKind.VERTICALS  # what the first of two visits ends with
    opens: time = time(7)  # when somebody may be there, and when one may be loud
    noisy_from: time = time(7)
    noisy_until: time = time(19)
    spare_hands: int = 0  # people of another crew who could join
    country: str = "US"  # where suppliers keep their holidays
    subdivision: str = ""


@dataclass(frozen=True)
class HourOfDay:
    """One hour of the day (°C, %, mm); None where it is not known."""

    at: datetime
    air_c: float | None
    dew_c: float | None
    humidity_pct: float | None
    rain_chance_pct: float | None
    rain_mm: float | None
    slab_c: float | None
    slab_cold_c: float | None
    slab_warm_c: float | None
    over_dew_c: float | None


@dataclass(frozen=True, eq=False)
class FloorDay:
    """The answer: the plan on its slab, what the forecast says of it and what it takes."""

    asked: Asked
    zone: ZoneInfo
    hours: Hours
    slab: SlabHours
    plan: Plan
    verdict: Verdict
    materials: Materials
    orders: tuple[OrderLine, ...]
    now: datetime

    def by_hour(self) -> list[HourOfDay]:
        """From the arrival until the crew has left and, if that is known, until rain-safe."""
        until = max(self.plan.end, self.plan.rain_safe or self.plan.end)
        count = int((until - self.plan.start) / HOUR) + 2
        return [self._hour(self.plan.start + step * HOUR) for step in range(count)]

    def _hour(self, at: datetime) -> HourOfDay:
        here, slab = self.hours.index(at), self.slab.index(at)

        def known(values: "np.ndarray[tuple[int], np.dtype[np.float64]]", i: int) -> float | None:
            return float(values[i]) if 0 <= i < len(values) and not np.isnan(values[i]) else None

        hours = self.hours
        slab_c, dew_c = known(self.slab.mid_c, slab), known(hours.dew_c, here)
        return HourOfDay(
            at=self.hours.hour(here),
            air_c=known(hours.air_c, here),
            dew_c=dew_c,
            humidity_pct=known(hours.humidity_pct, here),
            rain_chance_pct=known(hours.rain_chance_pct, here),
            rain_mm=known(hours.rain_mm, here),
            slab_c=slab_c,
            slab_cold_c=known(self.slab.cold_c, slab),
            slab_warm_c=known(self.slab.warm_c, slab),
            over_dew_c=None if slab_c is None or dew_c is None else slab_c - dew_c,
        )


def floor_day(
    asked: Asked,
    *,
    place: Place,
    now: datetime,
    given: Hours | None = None,
    given_slab: SlabHours | None = None,
) -> FloorDay:
    """The floor of `asked` at `place`, on what is stored of its weather. Raises CannotPlan.

    With `given` those hours hold instead, and with `given_slab` that slab instead of an
    estimate: for a day that somebody thinks up or remembers.
    """
    zone = ZoneInfo(place.zone)
    outside = given or weather.hours_at(place, now=now, past_days=PAST_DAYS, ahead_days=AHEAD_DAYS)
    hours = with_water(outside, asked.heaters)
    # Laid out once to know when the door stands open, and again on the slab that feels it.
    slab = given_slab or _slab(asked, place, outside, now=now)
    plan = _plan(asked, slab=slab, hours=hours)
    if asked.exposure.behind_a_door and given_slab is None:
        slab = _slab(asked, place, outside, now=now, door_open=open_spans(plan))
        plan = _plan(asked, slab=slab, hours=hours)
    verdict = judge(
        plan=plan,
        card=asked.card,
        exposure=asked.exposure,
        hours=hours,
        slab=slab,
        now=now,
        zone=zone,
        thresholds=asked.thresholds,
        reading=asked.reading_c is not None or given_slab is not None,
        day_start=_day_start(asked, plan, zone),
        day_end=_day_end(asked, plan),
        dryness=Dryness((PartDryness(looked_dry_at=asked.dry_since),)) if asked.dry_since else None,
        units=asked.units,
    )
    taken = materials(
        work=asked.work,
        card=asked.card,
        rates=asked.rates,
        crew_size=asked.crew_size,
        slab_at_pour_c=plan.slab_at_pour_c,
        slab_at_top_c=plan.slab_at_top_c,
    )
    ordered = _orders(asked, taken, needed_on=asked.start.astimezone(zone).date())
    return FloorDay(asked, zone, hours, slab, plan, verdict, taken, ordered, now)


def _slab(
    asked: Asked, place: Place, hours: Hours, *, now: datetime, door_open: Sequence[Span] = ()
) -> SlabHours:
    known = asked.reading_c is not None
    return slab_hours(
        hours=hours,
        exposure=asked.exposure,
        latitude=float(place.latitude),
        longitude=float(place.longitude),
        now=now,
        garage_offset_c=asked.garage_offset_c,
        door_open=door_open,
        heaters=asked.heaters,
        reading=SlabReading(at=now, slab_c=asked.reading_c or 0.0) if known else None,
    )


def _orders(asked: Asked, taken: Materials, *, needed_on: date) -> tuple[OrderLine, ...]:
    return orders_for(
        takes=taken,
        card=asked.card,
        needed_on=needed_on,
        country=asked.country,
        subdivision=asked.subdivision,
    )


def _plan(asked: Asked, *, slab: SlabHours, hours: Hours) -> Plan:
    carried = extended(slab, asked.start + timedelta(days=12))
    grains = np.full(len(carried), np.nan)
    count = min(len(carried), len(hours))
    grains[:count] = np.asarray(grains_per_lb(dew_c=hours.dew_c))[:count]
    heated = [(heater.start, heater.end) for heater in asked.heaters]
    cold = promised_on(
        card=asked.card,
        slab=carried,
        hours=hours,
        indoors=asked.exposure is Exposure.INTERIOR,
        heated=heated,
    )
    if asked.bays != 1:
        return lay_in_bays(
            work=asked.work,
            bays=asked.bays,
            card=asked.card,
            rates=asked.rates,
            crew_size=asked.crew_size,
            start=asked.start,
            second_start=asked.second_start,
            slab=carried,
            cold_slab=cold,
            grains=grains,
            grinders=asked.grinders,
        )
    return lay_out(
        work=asked.work,
        card=asked.card,
        rates=asked.rates,
        crew_size=asked.crew_size,
        start=asked.start,
        second_start=asked.second_start,
        split_after=StageKind.BASE if asked.card.two_days else asked.split_after,
        slab=carried,
        cold_slab=cold,
        grains=grains,
        grinders=asked.grinders,
    )


def _day_start(asked: Asked, plan: Plan, zone: ZoneInfo) -> datetime:
    """When somebody may be there on the day of the pour; the arrival that was asked always may."""
    arrive = asked.start.astimezone(zone).time()
    day = plan.pour.astimezone(zone).date()
    return datetime.combine(day, min(arrive, asked.opens), tzinfo=zone)


def _day_end(asked: Asked, plan: Plan) -> datetime:
    """When the crew must be gone on the day of the pour, as many days later as that is."""
    return asked.leave_by + timedelta(days=(plan.pour - asked.start) // timedelta(days=1))


def margin(name: str, *, value: float | None, limit: float | None, card: Card) -> float | None:
    """How far inside its limit a check is, in its own unit: below zero is beyond the limit."""
    if value is None or limit is None:
        return None
    upper = name in {"rain", "wind", "humidity", "forecast"}
    upper = upper or (name == "slab" and limit == card.slab_max_c)
    upper = upper or (name == "air" and limit == card.air_max_c)
    return limit - value if upper else value - limit
