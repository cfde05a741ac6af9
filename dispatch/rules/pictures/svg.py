"""The strokes of the pictures: marks, waves, gates, wheels and text that fits."""

from functools import cache
from html import escape

LEVELS = ("go", "care", "no", "unknown")
LEVEL_WORDS = {"go": "Go", "care": "Care", "no": "No", "unknown": "Unknown"}
# Each level has a shape of its own, so that it survives a photocopier and colour blindness:
# disc, triangle, octagon, broken ring.
BODIES = {
    "go": "M10 1a9 9 0 1 1 0 18a9 9 0 1 1 0-18z",
    "care": "M10 .8l9.6 17.7H.4z",
    "no": "M6.3 1h7.4L19 6.3v7.4L13.7 19H6.3L1 13.7V6.3z",
    "unknown": "M10 1.8a8.2 8.2 0 1 1 0 16.4a8.2 8.2 0 1 1 0-16.4z",
}
SIGNS = {
    "go": "M5.6 10.4l3.1 3.1 5.8-6.6",
    "care": "M10 7v5.6M10 15v1.6",
    "no": "M6.5 6.5l7 7M13.5 6.5l-7 7",
    "unknown": "M7.3 7.9a2.7 2.6 0 1 1 4.2 2.1c-1 .7-1.5 1.1-1.5 2.3M10 14.2v1.6",
}
# A cautious average over the system faces in use, as a part of the type size.
CHAR_EM = 0.52


def level_or_unknown(level: str) -> str:
    """`level` if it is one of ours; anything else is unknown, never green."""
    return level if level in LEVELS else "unknown"


def mark(level: str) -> str:
    """A small SVG of the mark of `level`, to stand in front of its word."""
    return (
        f'<svg class="mark mark-{level_or_unknown(level)}" viewBox="0 0 20 20" width="20"'
        f' height="20" aria-hidden="true" focusable="false">{mark_paths(level)}</svg>'
    )


@cache
def mark_paths(level: str) -> str:
    """The two paths of a mark in a box of 20 by 20."""
    known = level_or_unknown(level)
    return (
        f'<path class="mark-body" d="{BODIES[known]}"/><path class="mark-sign" d="{SIGNS[known]}"/>'
    )


def text(content: str, *, x: float, y: float, kind: str, anchor: str = "") -> str:
    """A line of escaped text; `kind` is its class, `anchor` is "middle" or "end"."""
    where = f' text-anchor="{anchor}"' if anchor else ""
    return (
        f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}"{where}>{escape(content, quote=False)}</text>'
    )


def path(kind: str, pieces: list[str], *, fill: str = "") -> str:
    """One path of all `pieces`, or nothing where there are none."""
    paint = f' fill="{escape(fill)}"' if fill else ""
    return f'<path class="{kind}" d="{"".join(pieces)}"{paint}/>' if pieces else ""


def box(x0: float, x1: float, y0: float, y1: float) -> str:
    """Path of a rectangle."""
    return f"M{x0:.1f} {y0:.1f}H{x1:.1f}V{y1:.1f}H{x0:.1f}z"


def line(x0: float, y0: float, x1: float, y1: float) -> str:
    """Path of a straight line."""
    return f"M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}"


def wave(x0: float, x1: float, y: float) -> str:
    """Path of a wave along `y`, with a stop at its end: a floor that is still wet."""
    count = max(1, int((x1 - x0) / 4))
    return f"M{x0:.1f} {y:.1f}q2-5 4 0{'t4 0' * (count - 1)}M{x1:.1f} {y - 4:.1f}v8"


def gate(x: float, y0: float, y1: float) -> str:
    """Path of a gate across the bar: nobody pours after it."""
    return f"M{x - 5:.1f} {y0:.1f}h10m-5 0V{y1:.1f}m-5 0h10"


def wheel(x: float, y: float) -> str:
    """Path of a wheel: from here on a car may stand on the floor."""
    return (
        f"M{x - 5.5:.1f} {y:.1f}a5.5 5.5 0 1 0 11 0a5.5 5.5 0 1 0-11 0z"
        f"m3.5 0a2 2 0 1 0 4 0a2 2 0 1 0-4 0z"
    )


def patterns(key: str) -> str:
    """Hatchings: rain leans one way, too close to dew the other, unknown is dotted."""
    return (
        f'<defs><pattern id="{key}-rain" width="4" height="4" patternUnits="userSpaceOnUse"'
        ' patternTransform="rotate(35)"><path class="hatch-rain" d="M1 0v4"/></pattern>'
        f'<pattern id="{key}-gap" width="6" height="6" patternUnits="userSpaceOnUse">'
        '<path class="hatch-gap" d="M1 1h1.4v1.4H1zM4 4h1.4v1.4H4z"/></pattern>'
        f'<pattern id="{key}-close" width="5" height="5" patternUnits="userSpaceOnUse"'
        ' patternTransform="rotate(-45)"><path class="hatch-close" d="M1 0v5"/></pattern></defs>'
    )


def width_px(content: str, *, size_px: float) -> float:
    """About how wide `content` is drawn."""
    return len(content) * size_px * CHAR_EM


def fitted(content: str, *, room_px: float, size_px: float) -> str:
    """`content`, cut with an ellipsis where it is wider than `room_px`; empty if hopeless."""
    most = int(room_px / (size_px * CHAR_EM))
    if len(content) <= most:
        return content
    return content[: most - 1].rstrip() + "…" if most > 3 else ""


def wrapped(content: str, *, room_px: float, size_px: float) -> list[str]:
    """`content` in lines of at most `room_px`, broken between words."""
    lines: list[str] = []
    for word in content.split():
        if lines and width_px(f"{lines[-1]} {word}", size_px=size_px) <= room_px:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def clock(hour: float, *, twelve: bool) -> str:
    """The hour of a day as people say it: 13:11, or 1:11 PM where clocks have twelve hours."""
    whole, minute = divmod(round(hour * 60) % 1440, 60)
    if not twelve:
        return f"{whole:02d}:{minute:02d}"
    if minute == 0 and whole % 12 == 0:
        return "noon" if whole else "midnight"
    half = "AM" if whole < 12 else "PM"
    minutes = f":{minute:02d}" if minute else ""
    return f"{(whole - 1) % 12 + 1}{minutes} {half}"
