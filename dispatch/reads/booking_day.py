"""One booking's day as a picture: slab, dew point, rain and stages in the same frame."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import numpy as np

from dispatch.models import Stint
from dispatch.reads.chain import Setting, mean_c, with_door_open
from dispatch.rules.pictures import DayPicture, StageBar
from jobs.models.branches import Units
from jobs.rules.clock import say_day, say_time
from jobs.rules.plan import Plan
from jobs.rules.stages import idle_spans
from weather.rules.hours import HOUR, Series

LONGEST_H = 36


def day_picture(
    setting: Setting, plan: Plan, *, last_safe_pour: datetime | None, number: int = 0
) -> DayPicture:
    """The day of visit `number` (from 0) of a plan, with the worst floor's slab."""
    frame = _Frame.of(setting, plan, number)
    ground = min(with_door_open(setting, plan).grounds, key=lambda each: mean_c(each.slab))
    visit, h = plan.visits[number], frame.h
    us = setting.units == Units.US
    poured = plan.pour < visit.end
    return DayPicture(
        title=f"{say_day(frame.midnight.date())} at {setting.job.site.street}",
        from_h=frame.from_h,
        until_h=frame.until_h,
        slab_c=frame.cut(ground.slab.mid_c, ground.slab.start),
        slab_low_c=frame.cut(ground.slab.cold_c, ground.slab.start),
        slab_high_c=frame.cut(ground.slab.warm_c, ground.slab.start),
        dew_c=frame.cut(setting.hours.dew_c, setting.hours.start),
        rain_chance_pct=frame.cut(setting.hours.rain_chance_pct, setting.hours.start),
        stages=tuple(
            StageBar(stage.kind.value, h(stage.start), h(stage.end), stage.kind.wait)
            for stage in visit.stages
        ),
        wet_from_h=h(plan.pour) if poured else None,
        wet_until_h=h(plan.rain_safe or plan.top_end) if poured else None,
        last_safe_pour_h=h(last_safe_pour) if last_safe_pour else None,
        last_safe_pour_label=say_time(last_safe_pour, setting.zone) if last_safe_pour else "",
        now_h=h(setting.now) if frame.from_h <= h(setting.now) <= frame.until_h else None,
        spread_min_c=setting.card.spread_min_c,
        spread_amber_c=setting.card.spread_amber_c,
        rain_limit_pct=setting.thresholds.rain_no_pct,
        shift_h=frame.shift_h(visit.start, setting),
        fahrenheit=us,
        twelve=us,
        key=f"day-{number + 1}",
    )


def idle_words(plan: Plan, zone: ZoneInfo) -> Iterator[str]:
    """The waits of a plan as what they are: hands that somebody may use, on the same site."""
    for start, end in idle_spans(plan):
        span = f"{say_time(start, zone)} to {say_time(end, zone)}"
        yield f"Idle hands: {(end - start) / HOUR:.1f} h, {span}; free for other work on this site."


@dataclass(frozen=True)
class _Frame:
    """The hours a picture shows, counted from local midnight of the visit's day."""

    midnight: datetime
    from_h: int
    until_h: int

    @classmethod
    def of(cls, setting: Setting, plan: Plan, number: int) -> "_Frame":
        """From an hour before the crew comes until the last coat is rain-safe."""
        visit = plan.visits[number]
        day = visit.start.astimezone(setting.zone).date()
        midnight = datetime.combine(day, time(0), tzinfo=setting.zone).astimezone(UTC)
        ends = visit.end
        if number == len(plan.visits) - 1:
            ends = max(ends, plan.rain_safe or plan.top_end)
        from_h = max(0, int((visit.start - midnight) / HOUR) - 1)
        return cls(midnight, from_h, min(LONGEST_H, int((ends - midnight) / HOUR) + 2))

    def h(self, instant: datetime) -> float:
        """Elapsed hours since midnight."""
        return (instant - self.midnight) / HOUR

    def shift_h(self, instant: datetime, setting: Setting) -> float:
        """Hours by which the clocks at the site have moved between midnight and `instant`."""
        zone = setting.zone
        then, now = (each.astimezone(zone).utcoffset() for each in (self.midnight, instant))
        return 0.0 if then is None or now is None else (now - then) / HOUR

    def cut(self, series: Series, start: datetime) -> tuple[float | None, ...]:
        """The shown hours of a series that begins at `start`; None where unknown."""
        first = round((self.midnight - start) / HOUR)
        positions = range(first + self.from_h, first + self.until_h)
        return tuple(
            float(series[i]) if 0 <= i < len(series) and not np.isnan(series[i]) else None
            for i in positions
        )


def stints_of(booking_id: int) -> list[Stint]:
    """The standing stints of a booking in order."""
    return list(
        Stint.objects.standing().filter(booking_id=booking_id).with_all().order_by("number")
    )
