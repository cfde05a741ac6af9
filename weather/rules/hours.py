"""Hours: one series of weather by the hour, in UTC, with unknown kept apart from zero.

An hour is named by its start and its values hold until the next hour. NaN means unknown,
everywhere, and is never read as zero.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

Series = NDArray[np.float64]
Members = NDArray[np.float64]  # one row a member of an ensemble, one column an hour
HOUR = timedelta(hours=1)
LAYERS = (
    "air_c",
    "dew_c",
    "humidity_pct",
    "rain_chance_pct",
    "rain_mm",
    "snow_mm",
    "wind_kmh",
    "gust_kmh",
    "cloud_pct",
)


def floor_hour(instant: datetime) -> datetime:
    """The whole hour (UTC) in which `instant` lies. Refuses a time without a zone."""
    if instant.tzinfo is None:
        raise ValueError("a time without a zone names no instant")
    return instant.astimezone(UTC).replace(minute=0, second=0, microsecond=0)


@dataclass(frozen=True, eq=False)
class Hours:
    """Weather by the hour from `start` (a whole hour in UTC); every layer has one length.

    `rain_chance_pct` is what the service wrote for the period of `chance_window_h` hours
    that holds the hour (1 where it wrote by the hour): never multiply hours of one period.
    Where amounts and words put it on some of these hours only, `chance_written_pct` holds what
    was written. `chance_derived` marks chances that were made from amounts. `members_mm` is the
    rain (mm) of each member of an ensemble, NaN where one is silent. Rain in mm falling in the
    hour, snow in mm of depth, wind and gust in km/h at 10 m, cloud in % of the sky.
    """

    start: datetime
    air_c: Series
    dew_c: Series
    humidity_pct: Series
    rain_chance_pct: Series
    rain_mm: Series
    snow_mm: Series
    wind_kmh: Series
    gust_kmh: Series
    cloud_pct: Series
    chance_window_h: Series
    chance_derived: NDArray[np.bool_]
    source: str = ""
    issued_at: datetime | None = None
    fetched_at: datetime | None = None
    notes: tuple[str, ...] = field(default=())
    chance_written_pct: Series | None = None
    members_mm: Members | None = None

    def __post_init__(self) -> None:
        if self.start != floor_hour(self.start):
            raise ValueError(f"{self.start} is not a whole hour")
        lengths = {len(getattr(self, name)) for name in LAYERS}
        lengths |= {len(self.chance_window_h), len(self.chance_derived), len(self.written_pct)}
        if self.members_mm is not None:
            lengths.add(self.members_mm.shape[1])
        if len(lengths) != 1:
            raise ValueError(f"layers differ in length: {sorted(lengths)}")

    def __len__(self) -> int:
        return len(self.air_c)

    @property
    def written_pct(self) -> Series:
        """The chances as the service wrote them, for whole periods."""
        return self.rain_chance_pct if self.chance_written_pct is None else self.chance_written_pct

    @property
    def end(self) -> datetime:
        """The end of the last hour."""
        return self.start + len(self) * HOUR

    @classmethod
    def unknown(cls, *, start: datetime, count: int, source: str = "") -> "Hours":
        """`count` hours from `start` of which nothing is known."""
        layers: dict[str, Any] = {name: np.full(count, np.nan) for name in LAYERS}
        return cls(
            start=start,
            **layers,
            chance_window_h=np.ones(count),
            chance_derived=np.zeros(count, dtype=bool),
            source=source,
        )

    def index(self, instant: datetime) -> int:
        """Position of the hour that holds `instant`; may lie outside the series."""
        return int((floor_hour(instant) - self.start) / HOUR)

    def hour(self, position: int) -> datetime:
        """Start of the hour at `position`."""
        return self.start + position * HOUR

    def between(self, start: datetime, end: datetime) -> "Hours":
        """The hours that touch [`start`, `end`); hours that are not held come as unknown."""
        first = floor_hour(start)
        last = floor_hour(end)
        if last < end:
            last += HOUR
        count = max(0, int((last - first) / HOUR))
        wanted = Hours.unknown(start=first, count=count, source=self.source)
        return wanted.over(self, keep_stamps=True)

    def over(self, other: "Hours", *, keep_stamps: bool = False) -> "Hours":
        """This series with each value that `other` knows put over its own.

        With `keep_stamps` the result carries `other`'s source and times.
        """
        offset = int((other.start - self.start) / HOUR)
        low, high = max(0, offset), min(len(self), offset + len(other))
        changed: dict[str, object] = {}
        for name in (*LAYERS, "chance_window_h", "chance_derived"):
            mine = getattr(self, name).copy()
            if high > low:
                theirs = getattr(other, name)[low - offset : high - offset]
                if name in LAYERS:
                    known = ~np.isnan(theirs)
                else:
                    known = ~np.isnan(other.rain_chance_pct[low - offset : high - offset])
                mine[low:high] = np.where(known, theirs, mine[low:high])
            changed[name] = mine
        changed.update(_over_chances(self, other, offset=offset))
        if keep_stamps:
            changed.update(
                source=other.source,
                issued_at=other.issued_at,
                fetched_at=other.fetched_at,
                notes=other.notes,
            )
        return replace(self, **changed)  # type: ignore[arg-type]

    def starts(self) -> Iterator[datetime]:
        """The start of every hour."""
        return (self.hour(i) for i in range(len(self)))


def _over_chances(mine: Hours, other: Hours, *, offset: int) -> dict[str, object]:
    """What was written and the members, with what `other` tells put over `mine`."""
    changed: dict[str, object] = {}
    low, high = max(0, offset), min(len(mine), offset + len(other))
    if high <= low:
        return changed
    theirs = slice(low - offset, high - offset)
    if mine.chance_written_pct is not None or other.chance_written_pct is not None:
        known = ~np.isnan(other.rain_chance_pct[theirs])
        written = mine.written_pct.copy()
        written[low:high] = np.where(known, other.written_pct[theirs], written[low:high])
        changed["chance_written_pct"] = written
    if other.members_mm is not None:
        members = np.full((len(other.members_mm), len(mine)), np.nan)
        members[:, low:high] = other.members_mm[:, theirs]
        changed["members_mm"] = members
    return changed


@dataclass(frozen=True, eq=False)
class SlabHours:
    """Surface temperature of a slab by the hour (°C): estimate with its band.

    `cold_c` and `warm_c` bound the estimate honestly; they widen where the past is unknown
    and with the lead of the forecast. `weak` means: too little of the past is known, or
    nothing but a guess. NaN is unknown. A `reading` made on site narrows the band.
    """

    start: datetime
    mid_c: Series
    cold_c: Series
    warm_c: Series
    weak: bool = False
    basis: str = ""

    def __len__(self) -> int:
        return len(self.mid_c)

    def index(self, instant: datetime) -> int:
        """Position of the hour that holds `instant`; may lie outside the series."""
        return int((floor_hour(instant) - self.start) / HOUR)

    def side(self, name: str) -> "SlabHours":
        """The same slab with its `mid`, `cold` or `warm` side taken as the estimate."""
        chosen = {"mid": self.mid_c, "cold": self.cold_c, "warm": self.warm_c}[name]
        return replace(self, mid_c=chosen)

    def kept_above(self, least_c: float, *, since: datetime) -> "SlabHours":
        """The same slab in a room kept at `least_c` (°C) or more; what is unknown stays so."""
        kept = self.mid_c.copy()
        after = max(0, self.index(since))
        kept[after:] = np.maximum(kept[after:], least_c)
        return replace(self, mid_c=kept)

    def at_c(self, instant: datetime) -> float:
        """Estimate (°C) in the hour that holds `instant`; NaN where unknown."""
        position = self.index(instant)
        if 0 <= position < len(self):
            return float(self.mid_c[position])
        return float("nan")
