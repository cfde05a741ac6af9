"""Surface temperature of a floor by the hour, estimated from the weather, with its band.

One-dimensional heat flow in concrete on ground, driven through a film by the air, sun and
sky that the exposure lets in, and started on as many past hours as are known. An estimate
for planning; a meter on the day outranks it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from weather.rules import slab_band
from weather.rules.air_record import AirRecord, air_record
from weather.rules.conduction import Column, march
from weather.rules.exposures import Exposure
from weather.rules.ground import Climate
from weather.rules.heaters import Heater
from weather.rules.hours import Hours, Series, SlabHours
from weather.rules.slab_air import Felt, House, Spans, felt
from weather.rules.slab_reading import SlabReading, anchored
from weather.rules.slab_start import start_c

__all__ = ["SlabReading", "SlabSite", "slab_hours", "slab_hours_batch"]

COLUMN = Column()
DEPTHS_M = np.append(COLUMN.nodes_m, COLUMN.depth_m)
SPIN_UP_H = 14 * 24


@dataclass(frozen=True, eq=False)
class SlabSite:
    """One floor whose slab is wanted: its weather, how it lies, and what is known of it.

    `garage_offset_c` is how much warmer than outdoors a closed garage stays in frost: 7 for
    one attached to a heated house, 0 to 3 for one on its own. `door_open` are the spans
    (half open) for which the garage door stands open; `heaters` stand in the garage or room.
    """

    hours: Hours
    exposure: Exposure
    latitude: float
    longitude: float
    garage_offset_c: float = 7.0
    indoor_c: float = 20.0
    door_open: Spans = field(default=())
    heaters: Sequence[Heater] = field(default=())
    reading: SlabReading | None = None


@dataclass(frozen=True, eq=False)
class _Prepared:
    record: AirRecord
    felt: Felt
    start_c: Series
    bottom_c: float


def slab_hours(
    *,
    hours: Hours,
    exposure: Exposure,
    latitude: float,
    longitude: float,
    now: datetime,
    garage_offset_c: float = 7.0,
    indoor_c: float = 20.0,
    door_open: Spans = (),
    heaters: Sequence[Heater] = (),
    reading: SlabReading | None = None,
) -> SlabHours:
    """The slab for every hour of `hours`: estimate, band, and whether too little is known.

    Hours before the first known air, and after a gap ahead of more than six hours, are
    unknown. Hand in fourteen days of past hours, or the estimate comes back weak.
    """
    site = SlabSite(
        hours=hours,
        exposure=exposure,
        latitude=latitude,
        longitude=longitude,
        garage_offset_c=garage_offset_c,
        indoor_c=indoor_c,
        door_open=door_open,
        heaters=heaters,
        reading=reading,
    )
    return slab_hours_batch(sites=[site], now=now)[0]


def slab_hours_batch(*, sites: Sequence[SlabSite], now: datetime) -> list[SlabHours]:
    """The slabs of many floors at once, in the order given; same answers as one by one."""
    if not any(len(site.hours) for site in sites):
        return [_nothing(site) for site in sites]
    prepared = [_prepare(site, now=now) for site in sites]
    steps = max(len(site.hours) for site in sites)
    drive, film = np.full((len(sites), steps), np.nan), np.ones((len(sites), steps))
    for row, (site, ready) in enumerate(zip(sites, prepared, strict=True)):
        # Each floor starts at its first known hour, so that no guess is marched before it.
        count = len(site.hours) - ready.record.first
        drive[row, :count] = ready.felt.drive_c[ready.record.first :]
        film[row, :count] = ready.felt.film_w_m2k[ready.record.first :]
    surface = march(
        layers_c=np.stack([ready.start_c for ready in prepared]),
        drive_c=drive,
        film_w_m2k=film,
        bottom_c=np.repeat([[ready.bottom_c] for ready in prepared], steps, axis=1),
        column=COLUMN,
    ).surface_c
    return [
        _answer(site, ready, surface=row, now=now)
        for site, ready, row in zip(sites, prepared, surface, strict=True)
    ]


def _prepare(site: SlabSite, *, now: datetime) -> _Prepared:
    hours, indoors = site.hours, site.exposure is Exposure.INTERIOR
    if indoors:
        # The room, not the weather, drives it: every hour is as known as the thermostat.
        record = AirRecord(hours.air_c, known=np.ones(len(hours), dtype=bool), first=0)
    else:
        record = air_record(air_c=hours.air_c, now_at=hours.index(now))

    def feel(air_c: Series) -> Felt:
        return felt(
            hours=hours,
            air_c=air_c,
            exposure=site.exposure,
            latitude=site.latitude,
            longitude=site.longitude,
            door_open=site.door_open,
            heaters=site.heaters,
            house=House(garage_offset_c=site.garage_offset_c, indoor_c=site.indoor_c),
        )

    ground = Climate.at(site.latitude).ground_c(instant=hours.start, depth_m=DEPTHS_M)
    if indoors:  # a heated house warms the ground below it
        ground = np.full(len(DEPTHS_M), (float(ground[-1]) + site.indoor_c) / 2)
    feels = feel(record.air_c)
    start = start_c(
        ground_c=ground[:-1],
        air_c=record.air_c,
        first=record.first,
        drive_of=lambda air_c: feel(air_c).drive_c,
        film_w_m2k=float(np.median(feels.film_w_m2k)) if len(hours) else 0.0,
        column=COLUMN,
    )
    return _Prepared(record=record, felt=feels, start_c=start, bottom_c=float(ground[-1]))


def _answer(site: SlabSite, ready: _Prepared, *, surface: Series, now: datetime) -> SlabHours:
    hours, first, indoors = site.hours, ready.record.first, site.exposure is Exposure.INTERIOR
    mid = np.full(len(hours), np.nan)
    mid[first:] = surface[: len(hours) - first]
    half = slab_band.half_width_c(
        exposure=site.exposure,
        felt=ready.felt,
        run_h=ready.record.run_h(),
        lead_h=slab_band.lead_h(hours=hours, now=now),
        cloud_pct=hours.cloud_pct,
    )
    past_h = ready.record.known_before(now_at=hours.index(now), span_h=SPIN_UP_H)
    estimate = SlabHours(
        start=hours.start,
        mid_c=mid,
        cold_c=mid - half,
        warm_c=mid + half,
        weak=past_h < SPIN_UP_H and not indoors,
        basis="the heated room's temperature" if indoors else _basis(past_h),
    )
    if site.reading is None:
        return estimate
    return anchored(estimate, reading=site.reading, exposure=site.exposure, now=now)


def _basis(past_h: int) -> str:
    return f"{past_h} of the last {SPIN_UP_H} hours of air"


def _nothing(site: SlabSite) -> SlabHours:
    none = np.empty(0)
    return SlabHours(site.hours.start, none, none, none, weak=True, basis="no hours at all")
