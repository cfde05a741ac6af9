"""The world of a backtest: what was, what the forecasts said of it, and what could be known.

A `View` is everything an office knows at one moment: the hours gone by, the newest forecast,
and the slab of each exposure reckoned from them by the program's own model.
"""

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from dispatch.backtest.real_hours import UTC_OFFSET_H, ZONE, Station, real_hours
from dispatch.rules.horizon import extended, known_until
from weather.rules.exposures import Exposure
from weather.rules.forecast_error import Issues, issues
from weather.rules.hours import HOUR, Hours, SlabHours, floor_hour
from weather.rules.seasonal import SeasonalOdds, seasonal
from weather.rules.slab import SlabSite, slab_hours_batch

PAST = timedelta(days=15)
FORESIGHT = timedelta(days=26)
# Carports lie as porches and pool decks as patios do, as far as heat goes.
SLABS = {
    Exposure.GARAGE: Exposure.GARAGE,
    Exposure.CARPORT: Exposure.PORCH,
    Exposure.PORCH: Exposure.PORCH,
    Exposure.OPEN: Exposure.OPEN,
    Exposure.POOL_DECK: Exposure.OPEN,
}


@dataclass(frozen=True, eq=False)
class View:
    """What is known at `now`: the hours, and the slab of each exposure."""

    now: datetime
    zone: ZoneInfo
    hours: Hours
    slabs: dict[Exposure, SlabHours]
    extended_slabs: dict[tuple[Exposure, datetime], SlabHours] = field(default_factory=dict)

    def slab(self, exposure: Exposure) -> SlabHours:
        """The slab of a floor, as far as the forecast reaches."""
        return self.slabs[SLABS[exposure]]

    def slab_until(self, exposure: Exposure, until: datetime) -> SlabHours:
        """The same carried on by its mean last days."""
        key = (SLABS[exposure], floor_hour(until).replace(hour=0))
        if key not in self.extended_slabs:
            self.extended_slabs[key] = extended(self.slab(exposure), key[1] + timedelta(days=1))
        return self.extended_slabs[key]

    @property
    def known_until(self) -> datetime:
        """How far the forecast reaches."""
        return min(known_until(slab) for slab in self.slabs.values())


@dataclass(frozen=True, eq=False)
class World:
    """One station's year with all the forecasts that were made of it."""

    station: Station
    truth: Hours
    forecasts: Issues
    zone: ZoneInfo
    foresight: bool = False
    views: dict[datetime, View] = field(default_factory=dict)

    @classmethod
    def of(cls, station: Station, *, seed: int) -> "World":
        """The station's year under one seed of clouds and forecast errors."""
        truth = real_hours(station, seed=seed)
        made = issues(truth, seed=seed, utc_offset_h=UTC_OFFSET_H)
        return cls(station, truth, made, ZoneInfo(ZONE))

    def foreseen(self) -> "World":
        """The same year with the truth itself as every forecast."""
        return World(self.station, self.truth, self.forecasts, self.zone, foresight=True)

    def at(self, now: datetime) -> View:
        """What is known at `now`; worked out once."""
        if now not in self.views:
            hours = self._known(now)
            self.views[now] = View(now, self.zone, hours, self._slabs(hours, now))
        return self.views[now]

    def _known(self, now: datetime) -> Hours:
        """Fifteen days gone by, then the newest forecast."""
        start = max(self.truth.start, floor_hour(now - PAST))
        if self.foresight:
            end = min(self.truth.end, floor_hour(now) + FORESIGHT)
            ahead = self.truth.between(floor_hour(now), end)
        else:
            ahead = self.forecasts.issued(now)
        whole = Hours.unknown(start=start, count=int((ahead.end - start) / HOUR))
        past = self.truth.between(start, floor_hour(now))
        issued = replace(ahead, issued_at=now, fetched_at=now)
        return whole.over(past).over(issued, keep_stamps=True)

    def _slabs(self, hours: Hours, now: datetime) -> dict[Exposure, SlabHours]:
        wanted = tuple(dict.fromkeys(SLABS.values()))
        sites = [
            SlabSite(
                hours=hours,
                exposure=exposure,
                latitude=self.station.latitude,
                longitude=self.station.longitude,
            )
            for exposure in wanted
        ]
        return dict(zip(wanted, slab_hours_batch(sites=sites, now=now), strict=True))

    def season(self, month: int) -> SeasonalOdds:
        """What the month is usually like: the program's own table."""
        return seasonal(month, {}, {})
