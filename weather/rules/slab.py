"""Surface temperature of a floor by the hour, estimated from the weather, with its band.

One-dimensional heat flow in concrete on ground, driven through a film by the air, sun and
sky that the exposure lets in, and started on as many past hours as are known. An estimate
for planning; a meter on the day outranks it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np

from weather.rules import slab_band
from weather.rules.air_record import AirRecord, air_record
from weather.rules.conduction import Column, march
from weather.rules.exposures import Exposure
from weather.rules.ground import Climate
from weather.rules.hours import HOUR, Hours, Series, SlabHours
from weather.rules.slab_air import Felt, House, Spans, felt

COLUMN = Column()
NODES_M = COLUMN.nodes_m
SPIN_UP_H = 14 * 24
START_H = 7 * 24  # of first hours whose mean sets the start
START_DOUBT_H = 48  # with this many hours, record and climate weigh the same
READING_HOLDS = timedelta(hours=48)  # a reading this fresh stands in for a missing past


@dataclass(frozen=True)
class SlabReading:
    """A temperature measured on the concrete itself."""

    at: datetime
    slab_c: float


@dataclass(frozen=True, eq=False)
class SlabSite:
    """One floor whose slab is wanted: its weather, how it lies, and what is known of it.

    `garage_offset_c` is how much warmer than outdoors a closed garage stays in frost: 7 for
    one attached to a heated house, 0 to 3 for one on its own. `door_open` are the spans
    (half open) for which the garage door stands open.
    """

    hours: Hours
    exposure: Exposure
    latitude: float
    longitude: float
    garage_offset_c: float = 7.0
    indoor_c: float = 20.0
    door_open: Spans = field(default=())
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
        reading=reading,
    )
    return slab_hours_batch(sites=[site], now=now)[0]


def slab_hours_batch(*, sites: Sequence[SlabSite], now: datetime) -> list[SlabHours]:
    """The slabs of many floors at once, in the order given; same answers as one by one."""
    if not sites:
        return []
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
    hours = site.hours
    if site.exposure is Exposure.INTERIOR:
        # The room, not the weather, drives it: every hour is as known as the thermostat.
        record = AirRecord(hours.air_c, known=np.ones(len(hours), dtype=bool), first=0)
    else:
        record = air_record(air_c=hours.air_c, now_at=hours.index(now))
    feels = felt(
        hours=hours,
        air_c=record.air_c,
        exposure=site.exposure,
        latitude=site.latitude,
        longitude=site.longitude,
        door_open=site.door_open,
        house=House(garage_offset_c=site.garage_offset_c, indoor_c=site.indoor_c),
    )
    climate = Climate.at(site.latitude)
    ground = climate.ground_c(instant=hours.start, depth_m=np.append(NODES_M, COLUMN.depth_m))
    bottom_c = float(ground[-1])
    if site.exposure is Exposure.INTERIOR:
        bottom_c = (bottom_c + site.indoor_c) / 2  # a heated house warms the ground below it
        ground = np.full(len(ground), bottom_c)
    start = _start_c(ground=ground[:-1], record=record, feels=feels, exposure=site.exposure)
    return _Prepared(record=record, felt=feels, start_c=start, bottom_c=bottom_c)


def _start_c(*, ground: Series, record: AirRecord, feels: Felt, exposure: Exposure) -> Series:
    """Layers before the first known hour: the year's wave, bent at the top to the record.

    The mean drive of the first known days says where the surface has been; the fewer the
    days, the more the climate of the place (with the same lift over outdoor air) is heard.
    """
    drive = feels.drive_c[record.first :][:START_H]
    drive = drive[~np.isnan(drive)]
    drive = drive[: len(drive) // 24 * 24 or len(drive)]  # whole days, lest a night speak for all
    if not len(drive):
        return ground
    mean_c = float(drive.mean())
    if exposure is not Exposure.INTERIOR:
        air = record.air_c[record.first :][: len(drive)]
        usual_c = float(ground[0] + mean_c - air.mean())
        trust = len(drive) / (len(drive) + START_DOUBT_H)
        mean_c = trust * mean_c + (1 - trust) * usual_c
    bent: Series = ground + (mean_c - ground[0]) * (1 - NODES_M / COLUMN.depth_m)
    return bent


def _answer(site: SlabSite, ready: _Prepared, *, surface: Series, now: datetime) -> SlabHours:
    hours, first, now_at = site.hours, ready.record.first, site.hours.index(now)
    mid = np.full(len(hours), np.nan)
    mid[first:] = surface[: len(hours) - first]
    half = slab_band.half_width_c(
        exposure=site.exposure,
        felt=ready.felt,
        run_h=ready.record.run_h(),
        lead_h=_lead_h(hours, now=now),
        cloud_pct=hours.cloud_pct,
    )
    past_h = _known_past_h(ready.record, now_at=now_at)
    estimate = SlabHours(
        start=hours.start,
        mid_c=mid,
        cold_c=mid - half,
        warm_c=mid + half,
        weak=site.exposure is not Exposure.INTERIOR and past_h < SPIN_UP_H,
        basis=_basis(site.exposure, past_h),
    )
    if site.reading is None:
        return estimate
    return anchored(estimate, reading=site.reading, exposure=site.exposure, now=now)


def anchored(
    estimate: SlabHours, *, reading: SlabReading, exposure: Exposure, now: datetime
) -> SlabHours:
    """The estimate moved to pass through a reading, the more so the nearer the hour.

    The difference fades over days, and the band is the instrument's own beside it. A fresh
    reading stands in for a past that is not known. One made outside the hours held, or
    where they are unknown, has nothing to be compared with and changes nothing.
    """
    modelled_c = estimate.at_c(reading.at)
    if np.isnan(modelled_c) or np.isnan(reading.slab_c):
        return estimate
    apart_h = (
        np.arange(len(estimate), dtype=np.float64) + 0.5 - (reading.at - estimate.start) / HOUR
    )
    weight = slab_band.reading_weight(exposure=exposure, apart_h=apart_h)
    mid = estimate.mid_c + (reading.slab_c - modelled_c) * weight
    half = slab_band.after_reading_c(half_c=estimate.warm_c - estimate.mid_c, weight=weight)
    fresh = timedelta(0) <= now - reading.at <= READING_HOLDS
    return replace(
        estimate,
        mid_c=mid,
        cold_c=mid - half,
        warm_c=mid + half,
        weak=estimate.weak and not fresh,
        basis=f"a reading of {reading.slab_c:.1f} °C and {estimate.basis}",
    )


def _lead_h(hours: Hours, *, now: datetime) -> Series:
    """How far each hour lies beyond the issue of the forecast; 0 for hours gone by."""
    issued = min(now, hours.issued_at or now)
    position = np.arange(len(hours), dtype=np.float64)
    lead: Series = np.maximum(position - (issued - hours.start) / HOUR, 0.0)
    return np.where(position < hours.index(now), 0.0, lead)


def _known_past_h(record: AirRecord, *, now_at: int) -> int:
    """Known hours of air in the fourteen days before now."""
    end = max(0, min(now_at, len(record.known)))
    return int(record.known[max(0, now_at - SPIN_UP_H) : end].sum())


def _basis(exposure: Exposure, past_h: int) -> str:
    if exposure is Exposure.INTERIOR:
        return "the heated room's temperature"
    return f"{past_h} of the last {SPIN_UP_H} hours of air"
