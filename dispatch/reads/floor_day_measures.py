"""What can be done about a floor's day that is not booked: each measure judged with it done."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from dispatch.reads.floor_day import Asked, FloorDay
from dispatch.rules.findings import Dryness, PartDryness
from dispatch.rules.measures.change import Measure
from dispatch.rules.measures.ranking import ranked
from dispatch.rules.measures.situation import (
    FloorHere,
    Held,
    Outcome,
    SiteTimes,
    Situation,
    Slabs,
)
from dispatch.rules.verdicts import Level
from jobs.rules.day_hours import DayHours
from jobs.rules.doors import Span
from weather.models import Place
from weather.rules.exposures import Exposure
from weather.rules.heaters import Heater
from weather.rules.hours import Hours, SlabHours
from weather.rules.slab import SlabReading, slab_hours

DAYS_AHEAD = 5


@dataclass(frozen=True)
class _Estimated:
    """The slab of the floor, with the door and the heaters that a measure has."""

    asked: Asked
    place: Place
    hours: Hours
    now: datetime

    def __call__(
        self, exposure: Exposure, *, door_open: Sequence[Span], heaters: Sequence[Heater]
    ) -> SlabHours:
        """One estimate; some tens of milliseconds."""
        read_c = self.asked.reading_c
        return slab_hours(
            hours=self.hours,
            exposure=exposure,
            latitude=float(self.place.latitude),
            longitude=float(self.place.longitude),
            now=self.now,
            garage_offset_c=self.asked.garage_offset_c,
            door_open=tuple(door_open),
            heaters=(*self.asked.heaters, *heaters),
            reading=SlabReading(at=self.now, slab_c=read_c) if read_c is not None else None,
        )


def measures_of(
    day: FloorDay, *, place: Place, given_slab: SlabHours | None = None
) -> tuple[Measure, ...]:
    """What can be done, best first; nothing for a good day, or for a floor laid in bays."""
    if day.verdict.level is Level.GO or day.asked.bays != 1:
        return ()
    slabs: Slabs = _Estimated(day.asked, place, day.hours, day.now)
    if given_slab is not None:
        slabs = Held(given_slab)
    situation = _situation(day, slabs, read=given_slab is not None)
    return ranked(situation, Outcome(day.plan, day.verdict))


def _situation(day: FloorDay, slabs: Slabs, *, read: bool) -> Situation:
    asked, zone = day.asked, day.zone
    seen = asked.dry_since
    times = _times(day)
    return Situation(
        work=asked.work,
        card=asked.card,
        rates=asked.rates,
        crew_size=asked.crew_size,
        start=asked.start,
        second_start=asked.second_start,
        split_after=asked.split_after,
        hours=day.hours,
        floors=(
            FloorHere(
                asked.exposure,
                dryness=Dryness((PartDryness(looked_dry_at=seen),)) if seen else None,
                read=read or asked.reading_c is not None,
            ),
        ),
        slabs=slabs,
        heatable=not read,
        now=day.now,
        times=times,
        thresholds=asked.thresholds,
        units=asked.units,
        spare_hands=asked.spare_hands,
        other_days=_other_days(asked.start.astimezone(zone).date(), day.now),
    )


def _times(day: FloorDay) -> SiteTimes:
    """The same hours every day: the arrival that was asked is always one of them."""
    asked, zone = day.asked, day.zone
    arrive = asked.start.astimezone(zone).time()
    hours = DayHours(
        opens=min(arrive, asked.opens),
        closes=asked.leave_by.astimezone(zone).time(),
        noisy_from=asked.noisy_from,
        noisy_until=asked.noisy_until,
    )
    return SiteTimes(zone=zone, hours=lambda _: hours, usually=arrive)


def _other_days(day: date, now: datetime) -> tuple[date, ...]:
    """The next days, whoever works then: a floor that is not booked has no branch."""
    ahead = (day + timedelta(days=n) for n in range(1, DAYS_AHEAD + 1))
    return tuple(each for each in ahead if each >= now.date())
