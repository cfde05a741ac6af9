"""Slab and dew point of a day as lines, and the band that the slab must stay out of."""

from collections.abc import Sequence
from itertools import pairwise

from dispatch.rules.pictures.day import DayPicture, least_spread
from dispatch.rules.pictures.frame import LEFT, SLAB_FOOT, SLAB_TOP, TEXT_PX, Frame
from dispatch.rules.pictures.svg import box, gate, line, path, text, width_px
from dispatch.rules.pictures.week import spread_words

Series = Sequence[float | None]


def temperatures(picture: DayPicture, frame: Frame) -> str:
    """Slab and dew point, between them the band the slab must stay out of."""
    dew = picture.dew_c
    close = [None if d is None else d + picture.spread_min_c for d in dew]
    amber = [None if d is None else d + picture.spread_amber_c for d in dew]
    parts = [
        path("spread-care", bands(close, amber, picture, frame)),
        path("spread-no", bands(dew, close, picture, frame), fill=f"url(#{picture.key}-close)"),
        path("slab-band", bands(picture.slab_low_c, picture.slab_high_c, picture, frame)),
        path("dew-line", polyline(dew, picture, frame)),
        path("slab-line", polyline(picture.slab_c, picture, frame)),
        path("base-line", [line(frame.left, SLAB_FOOT, frame.right, SLAB_FOOT)]),
    ]
    return "".join(
        (
            path("gap", gaps(picture, frame), fill=f"url(#{picture.key}-gap)"),
            *parts,
            degrees(picture, frame),
            band_name(close, picture, frame),
            line_names(picture, frame),
            bracket(picture, frame),
        )
    )


def gaps(picture: DayPicture, frame: Frame) -> list[str]:
    """Hours in which the slab or the dew point is unknown."""
    pieces = []
    for index in range(picture.until_h - picture.from_h):
        known = [series[index] for series in (picture.slab_c, picture.dew_c) if index < len(series)]
        if len(known) < 2 or None in known:
            hour = picture.from_h + index
            pieces.append(box(frame.x(hour), frame.x(hour + 1), SLAB_TOP, SLAB_FOOT))
    return pieces


def band_name(close: Series, picture: DayPicture, frame: Frame) -> str:
    """What the hatched band is, where it holds the words without the bracket over them."""
    known = [(index, value) for index, value in enumerate(close) if value is not None]
    if not known or frame.y(0) - frame.y(picture.spread_min_c) < 16:
        return ""
    first, top = known[0]
    words, left = "too close to dew", frame.x(picture.from_h + first + 0.5) + 8
    least = least_spread(picture)
    if least is not None and frame.x(least.hour + 0.5) < left + width_px(words, size_px=TEXT_PX):
        return ""
    return text(
        words,
        x=left,
        y=frame.y(top - picture.spread_min_c / 2) + 3,
        kind="band-word over",
    )


def bands(low: Series, high: Series, picture: DayPicture, frame: Frame) -> list[str]:
    """Areas between two series, hour by hour, where both are known."""
    pieces = []
    points = [
        None
        if a is None or b is None
        else (frame.x(picture.from_h + i + 0.5), frame.y(a), frame.y(b))
        for i, (a, b) in enumerate(zip(low, high, strict=False))
    ]
    for left, right in pairwise(points):
        if left is not None and right is not None:
            pieces.append(
                f"M{left[0]:.1f} {left[1]:.1f}L{right[0]:.1f} {right[1]:.1f}"
                f"V{right[2]:.1f}L{left[0]:.1f} {left[2]:.1f}z"
            )
    return pieces


def polyline(values: Series, picture: DayPicture, frame: Frame) -> list[str]:
    """A line through the known hours, broken where an hour is unknown."""
    pieces = []
    pen_up = True
    for index, value in enumerate(values):
        if value is None:
            pen_up = True
            continue
        x = frame.x(picture.from_h + index + 0.5)
        pieces.append(f"{'M' if pen_up else 'L'}{x:.1f} {frame.y(value):.1f}")
        pen_up = False
    return pieces


def degrees(picture: DayPicture, frame: Frame) -> str:
    """Three temperatures along the left edge, in the branch's unit."""
    words = []
    for part in (0.1, 0.5, 0.9):
        celsius = frame.low_c + part * (frame.high_c - frame.low_c)
        shown = round(celsius * 1.8 + 32) if picture.fahrenheit else round(celsius)
        exact = (shown - 32) / 1.8 if picture.fahrenheit else float(shown)
        unit = "°F" if picture.fahrenheit else "°C"
        words.append(
            text(
                f"{shown} {unit}".replace("-", "−"),
                x=LEFT - 5,
                y=frame.y(exact) + 4,
                kind="soft",
                anchor="end",
            )
        )
    return "".join(words)


def line_names(picture: DayPicture, frame: Frame) -> str:
    """The names of the two lines at their right ends, kept apart."""
    slab = last_known(picture.slab_c)
    dew = last_known(picture.dew_c)
    if slab is None or dew is None:
        return text("no forecast", x=frame.left + 8, y=SLAB_FOOT - 8, kind="soft")
    slab_y, dew_y = frame.y(slab) + 4, frame.y(dew) + 4
    if abs(slab_y - dew_y) < 15:
        middle, sign = (slab_y + dew_y) / 2, 1 if slab_y > dew_y else -1
        slab_y, dew_y = middle + sign * 8, middle - sign * 8
    return text("slab", x=frame.right + 6, y=slab_y, kind="name-slab") + text(
        "dew point", x=frame.right + 6, y=dew_y, kind="name-dew"
    )


def last_known(values: Series) -> float | None:
    """The last value that is known."""
    return next((value for value in reversed(values) if value is not None), None)


def bracket(picture: DayPicture, frame: Frame) -> str:
    """The least spread while the floor is wet, drawn between the two lines with its amount."""
    least = least_spread(picture)
    if least is None:
        return ""
    slab_y, dew_y = frame.y(least.slab_c), frame.y(least.dew_c)
    x = frame.x(least.hour + 0.5)
    words = spread_words(least.spread_c, fahrenheit=picture.fahrenheit)
    near_right = x + 8 + width_px(words, size_px=TEXT_PX) > frame.right
    return path("bracket", [gate(x, slab_y, dew_y)]) + text(
        words,
        x=x - 8 if near_right else x + 8,
        y=(slab_y + dew_y) / 2 + 4,
        kind="bracket-word",
        anchor="end" if near_right else "",
    )
