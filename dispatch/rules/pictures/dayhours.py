"""The day's picture as rows: its stages on the clock, and slab and dew point by the hour."""

from dataclasses import dataclass

from dispatch.rules.pictures.day import DayPicture, in_window


@dataclass(frozen=True)
class HourRow:
    """One hour of the day; values in °C and %, None where unknown. `wet`: resin is open to it."""

    clock: str
    slab_c: float | None
    low_c: float | None
    high_c: float | None
    dew_c: float | None
    over_c: float | None
    rain_chance_pct: float | None
    wet: bool


@dataclass(frozen=True)
class StageRow:
    """One stage on the clock."""

    kind: str
    start: str
    end: str
    wait: bool


def day_hours(picture: DayPicture) -> tuple[HourRow, ...]:
    """Every hour that the picture shows."""
    return tuple(_row(picture, index) for index in range(len(picture.slab_c)))


def day_stages(picture: DayPicture) -> tuple[StageRow, ...]:
    """Its stages in order."""
    return tuple(
        StageRow(each.kind, picture.clock(each.start_h), picture.clock(each.end_h), each.wait)
        for each in picture.stages
    )


def _row(picture: DayPicture, index: int) -> HourRow:
    def held(series: tuple[float | None, ...]) -> float | None:
        return series[index] if index < len(series) else None

    hour = picture.from_h + index
    slab_c, dew_c = held(picture.slab_c), held(picture.dew_c)
    return HourRow(
        clock=picture.clock(hour),
        slab_c=slab_c,
        low_c=held(picture.slab_low_c),
        high_c=held(picture.slab_high_c),
        dew_c=dew_c,
        over_c=None if slab_c is None or dew_c is None else slab_c - dew_c,
        rain_chance_pct=held(picture.rain_chance_pct),
        wet=picture.wet_from_h is not None and in_window(picture, hour),
    )
