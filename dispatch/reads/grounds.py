"""The floors of a job as the chain sees them: slabs, parts, readings and heaters in the room."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from dispatch.models import HeaterStay
from dispatch.reads.kept_slabs import Wanted, slabs
from dispatch.rules.findings import Dryness, Part, PartDryness
from jobs.described import DescribedJob, Order
from jobs.models import Floor, Job, SiteReading
from jobs.models.customers import WHOLE_FLOOR
from jobs.rules.doors import Span
from jobs.rules.other_water import Water, waters
from weather.rules.exposures import Exposure
from weather.rules.heaters import Heater, with_water
from weather.rules.hours import Hours, SlabHours
from weather.rules.slab import SlabReading
from weather.rules.slab_reading import READING_HOLDS

HEATED = frozenset({Exposure.GARAGE, Exposure.INTERIOR})  # rooms in which a heater warms a slab
READINGS_COUNT = timedelta(days=14)  # as long as the slab is followed back
WETTING_MM = 0.1


@dataclass(frozen=True, eq=False)
class Known:
    """What all floors of a job share: its weather and the moment of asking."""

    job: Order
    hours: Hours
    now: datetime


@dataclass(frozen=True, eq=False)
class Ground:
    """One floor of a job with its slab and its parts, and the air above it.

    `hours` are those of the place with what heaters add to the room. `read_lately` says that
    somebody measured the slab within two days.
    """

    name: str
    exposure: Exposure
    slab: SlabHours
    parts: tuple[Part, ...]
    dryness: Dryness | None
    hours: Hours
    heaters: tuple[Heater, ...] = ()
    reading: SlabReading | None = None
    read_lately: bool = False
    waters: tuple[Water, ...] = ()  # how it gets wet besides the rain that falls on it

    @property
    def feels_the_door(self) -> bool:
        """Whether any of it lies behind or under a garage's door."""
        parts = (part.exposure for part in self.parts)
        return any(exposure.behind_a_door for exposure in (self.exposure, *parts))

    def opened(self, known: Known, spans: Sequence[Span]) -> "Ground":
        """The same with the slab of every part that the open door reaches worked out again."""

        def slab(exposure: Exposure, shut: SlabHours | None) -> SlabHours | None:
            if not exposure.behind_a_door:
                return shut
            return self.slab_as(exposure, known, spans)

        own = slab(self.exposure, self.slab) or self.slab
        parts = tuple(
            replace(part, slab=own)
            if part.exposure is self.exposure
            else replace(part, slab=slab(part.exposure, part.slab))
            for part in self.parts
        )
        return replace(self, slab=own, parts=parts)

    def slab_as(self, exposure: Exposure, known: Known, spans: Sequence[Span] = ()) -> SlabHours:
        """The slab of one exposure; the reading was made on the floor, not on its other parts."""
        return slabs([self._wanted(exposure, known, spans)], hours=known.hours, now=known.now)[0]

    def doors(self, known: Known, spans: Sequence[Span]) -> list[Wanted]:
        """What `opened` will ask for, so that several can be worked out at once."""
        lies = dict.fromkeys((self.exposure, *(part.exposure for part in self.parts)))
        return [self._wanted(each, known, spans) for each in lies if each.behind_a_door]

    def _wanted(self, exposure: Exposure, known: Known, spans: Sequence[Span]) -> Wanted:
        return Wanted(
            exposure=exposure,
            # Some miles change nothing for the sun, and neighbors then share one slab.
            latitude=round(known.job.site.latitude, 1),
            longitude=round(known.job.site.longitude, 1),
            garage_offset_c=known.job.branch.garage_offset_c,
            door_open=tuple(spans),
            heaters=self.heaters if exposure in HEATED else (),
            reading=self.reading if exposure is self.exposure else None,
        )


def grounds_of(job: Order, *, hours: Hours, now: datetime) -> tuple[Ground, ...]:
    """Every floor of the job, on what is known of weather, readings and heaters."""
    if isinstance(job, DescribedJob):
        return (_told(job, Known(job, hours, now)),)
    floors = list(job.floors.all())
    known = Known(job, hours, now)
    readings = _readings(floors, now=now)
    heaters = _heaters(job, floors, hours)
    return tuple(
        _ground(floor, known, readings=readings.get(floor.pk, ()), heaters=heaters)
        for floor in floors
    )


def _told(job: DescribedJob, known: Known) -> Ground:
    """A floor of which only its exposure is known."""
    bare = Ground(
        name="Floor",
        exposure=job.exposure,
        slab=SlabHours(known.hours.start, np.empty(0), np.empty(0), np.empty(0)),
        parts=(),
        dryness=None,
        hours=known.hours,
    )
    return replace(bare, slab=bare.slab_as(job.exposure, known))


def _readings(floors: Sequence[Floor], *, now: datetime) -> Mapping[int, Sequence[SiteReading]]:
    """What was read of each floor, newest first."""
    found: dict[int, list[SiteReading]] = {}
    since = now - READINGS_COUNT
    rows = SiteReading.objects.filter(floor__in=floors, at__gte=since, at__lte=now)
    for row in rows.order_by("-at", "-pk"):
        found.setdefault(row.floor_id, []).append(row)
    return found


def _heaters(job: Job, floors: Sequence[Floor], hours: Hours) -> tuple[Heater, ...]:
    """The heaters of the site; the floors that one can warm are taken for one room."""
    area_m2 = sum(floor.area_m2 for floor in floors if Exposure(floor.exposure) in HEATED)
    if not area_m2:
        return ()
    stays = HeaterStay.objects.standing().filter(
        site_id=job.site_id, start__lt=hours.end, end__gt=hours.start
    )
    return tuple(
        Heater(
            power_kw=stay.power_kw,
            floor_m2=area_m2,
            start=stay.start,
            end=stay.end,
            vented=stay.vented,
            most_c=stay.most_c,
        )
        for stay in stays
    )


def _ground(
    floor: Floor, known: Known, *, readings: Sequence[SiteReading], heaters: tuple[Heater, ...]
) -> Ground:
    exposure = Exposure(floor.exposure)
    mine = heaters if exposure in HEATED else ()
    row = next((each for each in readings if each.slab_c is not None), None)
    reading = SlabReading(at=row.at, slab_c=row.slab_c) if row and row.slab_c is not None else None
    bare = Ground(
        name=floor.name,
        exposure=exposure,
        slab=SlabHours(known.hours.start, np.empty(0), np.empty(0), np.empty(0)),
        parts=(),
        dryness=_dryness(floor, known.hours, readings),
        hours=with_water(known.hours, mine) if mine else known.hours,
        heaters=mine,
        waters=floor.waters,
        reading=reading,
        read_lately=reading is not None and known.now - reading.at <= READING_HOLDS,
    )
    slab = bare.slab_as(exposure, known)
    parts = tuple(
        Part(
            name=part.name,
            exposure=theirs,
            slab=slab if theirs is exposure else bare.slab_as(theirs, known),
        )
        for part in floor.parts.all()
        if part.name != WHOLE_FLOOR and (theirs := Exposure(part.exposure))
    )
    return replace(bare, slab=slab, parts=parts)


def _dryness(floor: Floor, hours: Hours, readings: Sequence[SiteReading]) -> Dryness | None:
    """What was seen of the floor and its parts, and whether moisture was read since."""
    seen = [part for part in floor.parts.all() if part.wetted_at or part.looked_dry_at]
    metered_at = _metered_at(readings)
    if metered_at is not None:
        wetted = [part.wetted_at for part in seen if part.wetted_at]
        if any(at > metered_at for at in wetted) or _rained_since(hours, metered_at):
            metered_at = None
    if not seen and metered_at is None:
        return None
    noted = [part.noted_at for part in floor.parts.all() if part.noted_at]
    parts = tuple(
        PartDryness(
            part=part.name,
            wetted_at=part.wetted_at,
            looked_dry_at=part.looked_dry_at,
            estimated=part.estimated,
            wetted_by=next(iter(waters([part.wetted_by])), None),
        )
        for part in seen
    )
    return Dryness(parts, metered=metered_at is not None, noted_at=max(noted, default=None))


def _metered_at(readings: Sequence[SiteReading]) -> datetime | None:
    """When moisture was last read, if whoever read it said that it is within the limit."""
    last = next((each for each in readings if each.moisture_method), None)
    return last.at if last is not None and last.within_limit else None


def _rained_since(hours: Hours, at: datetime) -> bool:
    """Whether rain is known to have fallen, or is forecast, after the reading."""
    first = max(0, hours.index(at) + 1)
    return bool((hours.rain_mm[first:] >= WETTING_MM).any())
