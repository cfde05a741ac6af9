"""The weather above a week: for each day its rain chance and the slab's margin over dew point."""

from collections.abc import Iterator

from dispatch.rules.pictures.axis import Axis
from dispatch.rules.pictures.svg import box, clock, fitted, line, path, text
from dispatch.rules.pictures.week import (
    DayColumn,
    WeekPicture,
    margin_words,
    rain_words,
    spread_words,
)

RAIN_TOP, RAIN_FOOT = 62.0, 96.0
MARGIN_TOP, MARGIN_FOOT = 118.0, 156.0
MARGIN_HIGH_C, MARGIN_LOW_C = 12.0, -1.0
FOOT = 178.0
SMALL_PX = 11.5
TICKS = (6, 12, 18)


def sky(picture: WeekPicture, axis: Axis, *, left: float, right: float, foot: float) -> str:
    """The strips over all days; `foot` is where the columns end below the crews."""
    days = picture.days
    parts = [
        path("night", list(nights(days, axis, foot))),
        *(heading(day, picture, axis) for day in days),
        rain(picture, axis, left, right),
        margin(picture, axis, left, right),
        *(ticks(day, axis, twelve=picture.twelve) for day in days),
        path("day-cut", [line(axis.x(d.start_h), 8, axis.x(d.start_h), foot) for d in days]),
        *gutter(picture),
    ]
    return "".join(parts)


def nights(days: tuple[DayColumn, ...], axis: Axis, foot: float) -> Iterator[str]:
    """Dark hours: before sunrise and after sunset, or the narrow hours where unknown."""
    for day in days:
        rise = day.elapsed(day.wide_from if day.sunrise is None else day.sunrise)
        sets = day.elapsed(day.wide_until if day.sunset is None else day.sunset)
        yield box(axis.x(day.start_h), axis.x(rise), RAIN_TOP - 4, foot)
        yield box(axis.x(sets), axis.x(day.end_h), RAIN_TOP - 4, foot)


def heading(day: DayColumn, picture: WeekPicture, axis: Axis) -> str:
    """Name of the day, its light or its holiday, and the two numbers that matter."""
    x0, x1 = axis.x(day.start_h) + 7, axis.x(day.end_h) - 6
    room = x1 - x0
    name = f"{day.label}, today" if day.today else day.label
    light = ""
    if day.sunrise is not None and day.sunset is not None:
        rise = clock(day.sunrise, twelve=picture.twelve)
        light = f"light {rise} to {clock(day.sunset, twelve=picture.twelve)}"
    below = f"Holiday: {day.holiday}" if day.holiday else light
    rain_text = rain_words(day, picture, brief=True)
    margin_text = margin_words(day, picture, brief=True)
    return (
        text(name, x=x0, y=20, kind="day-name day-today" if day.today else "day-name")
        + text(
            fitted(below, room_px=room, size_px=SMALL_PX),
            x=x0,
            y=36,
            kind="day-off" if day.holiday else "soft",
        )
        + text(
            fitted(rain_text, room_px=room, size_px=SMALL_PX),
            x=x0,
            y=RAIN_TOP - 7,
            kind="rain-word",
        )
        + text(
            fitted(margin_text, room_px=room, size_px=SMALL_PX),
            x=x0,
            y=MARGIN_TOP - 6,
            kind="small",
        )
    )


def rain(picture: WeekPicture, axis: Axis, left: float, right: float) -> str:
    """Bars of rain chance by the hour; hours without a forecast are hatched from top to foot."""
    bars, gaps = [], []
    scale = (RAIN_FOOT - RAIN_TOP) / 100
    for day in picture.days:
        for hour, chance in enumerate(padded(day.rain_chance_pct, day)):
            x0, x1 = axis.x(day.start_h + hour), axis.x(day.start_h + hour + 1)
            if chance is None:
                gaps.append(box(x0, x1, RAIN_TOP, RAIN_FOOT))
            elif chance > 0:
                bars.append(box(x0, x1, RAIN_FOOT - chance * scale, RAIN_FOOT))
    limit = RAIN_FOOT - picture.rain_limit_pct * scale
    return (
        path("gap", gaps, fill=f"url(#{picture.key}-gap)")
        + path("rain", bars, fill=f"url(#{picture.key}-rain)")
        + path("limit", [line(left, limit, right, limit)])
        + path("base-line", [line(left, RAIN_FOOT, right, RAIN_FOOT)])
    )


def margin(picture: WeekPicture, axis: Axis, left: float, right: float) -> str:
    """The margin over dew point as a line; where it is too small, filled up to the limit."""
    lines, lows, gaps = [], [], []
    limit = margin_y(picture.margin_min_c)
    pen_up = True
    for day in picture.days:
        for hour, value in enumerate(padded(day.margin_c, day)):
            start = axis.x(day.start_h + hour)
            end = axis.x(day.start_h + hour + 1)
            if value is None:
                gaps.append(box(start, end, MARGIN_TOP, MARGIN_FOOT))
                pen_up = True
                continue
            y = margin_y(value)
            lines.append(f"{'M' if pen_up else 'L'}{(start + end) / 2:.1f} {y:.1f}")
            pen_up = False
            if value < picture.margin_min_c:
                lows.append(box(start, end, limit, max(y, limit + 3)))
    return (
        path("gap", gaps, fill=f"url(#{picture.key}-gap)")
        + path("too-close", lows)
        + path("limit", [line(left, limit, right, limit)])
        + path("margin", lines)
        + path("base-line", [line(left, MARGIN_FOOT, right, MARGIN_FOOT)])
    )


def margin_y(margin_c: float) -> float:
    """Height of a margin in its strip, held inside it."""
    inside = min(max(margin_c, MARGIN_LOW_C), MARGIN_HIGH_C)
    part = (inside - MARGIN_LOW_C) / (MARGIN_HIGH_C - MARGIN_LOW_C)
    return MARGIN_FOOT - part * (MARGIN_FOOT - MARGIN_TOP)


def padded(values: tuple[float | None, ...], day: DayColumn) -> list[float | None]:
    """One value for each hour of `day`; hours that nobody forecast are unknown."""
    hours = round(day.end_h - day.start_h)
    return [*values[:hours], *[None] * (hours - len(values))]


def ticks(day: DayColumn, axis: Axis, *, twelve: bool) -> str:
    """Three clock hours under the weather of a day."""
    words = ("6 AM", "noon", "6 PM") if twelve else ("6", "12", "18")
    places = [axis.x(day.elapsed(hour)) for hour in TICKS]
    marks = path("tick", [line(x, MARGIN_FOOT, x, MARGIN_FOOT + 4) for x in places])
    return marks + "".join(
        text(word, x=x, y=FOOT - 7, kind="tick-word", anchor="middle")
        for word, x in zip(words, places, strict=True)
    )


def gutter(picture: WeekPicture) -> list[str]:
    """What the two strips are and which limit each line marks."""
    limit = spread_words(picture.margin_min_c, fahrenheit=picture.fahrenheit)
    return [
        text("Rain chance", x=0, y=RAIN_TOP + 10, kind="gutter"),
        text(f"line: {picture.rain_limit_pct:.0f} %", x=0, y=RAIN_TOP + 25, kind="soft"),
        text("Over dew point", x=0, y=MARGIN_TOP + 6, kind="gutter"),
        text(picture.margin_of, x=0, y=MARGIN_TOP + 21, kind="soft"),
        text(f"line: {limit}", x=0, y=MARGIN_TOP + 35, kind="soft"),
    ]
