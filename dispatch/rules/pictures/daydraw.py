"""The picture of one stint's day: slab over dew point, rain, stages, last safe pour."""

from html import escape

from dispatch.rules.pictures.day import DayPicture, day_summary, highest_rain
from dispatch.rules.pictures.frame import (
    BAR_FOOT,
    BAR_TOP,
    HEIGHT,
    NAMES,
    RAIN_FOOT,
    RAIN_TOP,
    SLAB_TOP,
    TEXT_PX,
    TICK_AT,
    WAVE_AT,
    WORD_AT,
    Frame,
    framed,
)
from dispatch.rules.pictures.heat import temperatures
from dispatch.rules.pictures.svg import (
    box,
    fitted,
    gate,
    line,
    path,
    patterns,
    text,
    wave,
    width_px,
)
from dispatch.rules.pictures.week import COATS, HARD

CROWDED_H = 16  # hours from which every second word at the foot is left out
PHONE = 500  # a picture up to this width is for a phone
SHORT_NAMES = {"set_up": "Set up", "vacuum": "Vac", "verticals": "Steps", "set": "set"}


def day_svg(picture: DayPicture, *, width: int = 720) -> str:
    """The day as SVG, drawn for `width` pixels: 720 for a desk, 360 for a phone."""
    frame = framed(picture, width)
    key = escape(picture.key)
    size = "picture-desk" if width > PHONE else "picture-phone"
    head = (
        f'<svg class="picture picture-day {size}" viewBox="0 0 {width} {HEIGHT:.0f}" role="img"'
        f' aria-labelledby="{key}-title {key}-desc">'
        f'<title id="{key}-title">{escape(picture.title)}</title>'
        f'<desc id="{key}-desc">{escape(day_summary(picture))}</desc>{patterns(key)}'
    )
    return "".join(
        (
            head,
            nights(picture, frame),
            ticks(picture, frame, every=tick_step(picture, width)),
            temperatures(picture, frame),
            rain(picture, frame),
            stages(picture, frame),
            moments(picture, frame),
            "</svg>",
        )
    )


def nights(picture: DayPicture, frame: Frame) -> str:
    """Dark hours, where the sun is known."""
    if picture.sunrise is None or picture.sunset is None:
        return ""
    spans = [
        (
            frame.x(picture.sunset + day - picture.shift_h),
            frame.x(picture.sunrise + day + 24 - picture.shift_h),
        )
        for day in (-24, 0, 24)
    ]
    return path("night", [box(x0, x1, SLAB_TOP, WAVE_AT + 6) for x0, x1 in spans if x1 > x0])


def ticks(picture: DayPicture, frame: Frame, *, every: int) -> str:
    """Clock hours along the foot, with a fine line up through everything."""
    hours = [
        hour
        for hour in range(picture.from_h, picture.until_h + 1)
        if (hour + round(picture.shift_h)) % every == 0
    ]
    lines = path(
        "day-cut", [line(frame.x(hour), SLAB_TOP, frame.x(hour), TICK_AT - 14) for hour in hours]
    )
    return lines + "".join(
        text(
            tick_word(picture, hour), x=frame.x(hour), y=TICK_AT, kind="tick-word", anchor="middle"
        )
        for hour in hours
    )


def tick_word(picture: DayPicture, hour: int) -> str:
    """A whole hour on the clock."""
    clock_hour = (hour + round(picture.shift_h)) % 24
    return picture.clock(hour) if picture.twelve else str(clock_hour)


def tick_step(picture: DayPicture, width: int) -> int:
    """Hours between two words at the foot, so that they stay apart."""
    usual = 2 if width > PHONE else 3
    return usual * (1 + (picture.until_h - picture.from_h) // CROWDED_H)


def rain(picture: DayPicture, frame: Frame) -> str:
    """Rain chance by the hour; unknown hours are dotted from top to foot."""
    bars, gaps = [], []
    scale = (RAIN_FOOT - RAIN_TOP) / 100
    hours = picture.until_h - picture.from_h
    known = [*picture.rain_chance_pct[:hours], *[None] * (hours - len(picture.rain_chance_pct))]
    for index, chance in enumerate(known):
        x0, x1 = frame.x(picture.from_h + index), frame.x(picture.from_h + index + 1)
        if chance is None:
            gaps.append(box(x0, x1, RAIN_TOP, RAIN_FOOT))
        elif chance > 0:
            bars.append(box(x0 + 0.5, x1 - 0.5, RAIN_FOOT - chance * scale, RAIN_FOOT))
    limit = RAIN_FOOT - picture.rain_limit_pct * scale
    return (
        path("gap", gaps, fill=f"url(#{picture.key}-gap)")
        + path("rain", bars, fill=f"url(#{picture.key}-rain)")
        + path("limit", [line(frame.left, limit, frame.right, limit)])
        + path("base-line", [line(frame.left, RAIN_FOOT, frame.right, RAIN_FOOT)])
        + text("rain", x=frame.right + 6, y=RAIN_FOOT - 2, kind="rain-word")
        + text(
            f"{picture.rain_limit_pct:.0f} %",
            x=frame.left - 5,
            y=limit + 4,
            kind="soft",
            anchor="end",
        )
        + rain_peak(picture, frame, scale)
    )


def rain_peak(picture: DayPicture, frame: Frame, scale: float) -> str:
    """The highest chance while the floor is wet, above its bar."""
    top = highest_rain(picture)
    if top is None or top[0] <= 0:
        return ""
    chance, hour = top
    return text(
        f"{chance:.0f} % at {picture.clock(hour)}",
        x=min(max(frame.x(hour + 0.5), frame.left + 38), frame.right - 34),
        y=RAIN_FOOT - chance * scale - 4,
        kind="rain-word over",
        anchor="middle",
    )


def stages(picture: DayPicture, frame: Frame) -> str:
    """The stages to scale with their names where they fit, and the wave while wet."""
    middle = (BAR_TOP + BAR_FOOT) / 2
    pieces: dict[str, list[str]] = {"light": [], "hard": [], "coat": [], "wait": []}
    words = []
    for stage in picture.stages:
        x0, x1 = frame.x(stage.start_h), frame.x(stage.end_h)
        kind = stage_kind(stage.kind, wait=stage.wait)
        pieces[kind].append(line(x0, middle, x1, middle))
        name = stage_name(stage.kind)
        if width_px(name, size_px=TEXT_PX) + 4 <= x1 - x0:
            words.append(
                text(
                    name,
                    x=(x0 + x1) / 2,
                    y=middle + 4,
                    kind=f"stage-name on-{kind}",
                    anchor="middle",
                )
            )
    drawn = "".join(path(f"stage-{kind} tall", pieces[kind]) for kind in pieces)
    return drawn + "".join(words) + wet(picture, frame)


def stage_kind(kind: str, *, wait: bool) -> str:
    """What a stage means for the floor: a wait, a coat, hard work or light work."""
    if wait:
        return "wait"
    return "coat" if kind in COATS else "hard" if kind in HARD else "light"


def stage_name(kind: str) -> str:
    """The name of a stage, as short as the trade says it."""
    return SHORT_NAMES.get(kind, kind.replace("_", " ").capitalize())


def wet(picture: DayPicture, frame: Frame) -> str:
    """The wave of the wet window with its hours."""
    if picture.wet_from_h is None or picture.wet_until_h is None:
        return ""
    x0, x1 = frame.x(picture.wet_from_h), frame.x(picture.wet_until_h)
    words = f"wet {picture.clock(picture.wet_from_h)} to {picture.clock(picture.wet_until_h)}"
    words = fitted(words, room_px=frame.right - frame.left, size_px=TEXT_PX)
    end = min(x0 + width_px(words, size_px=TEXT_PX), frame.right + NAMES - 4)
    return path("wave", [wave(x0, x1, WAVE_AT)]) + text(
        words, x=end - width_px(words, size_px=TEXT_PX), y=WORD_AT, kind="wet-word"
    )


def moments(picture: DayPicture, frame: Frame) -> str:
    """The gate of the last safe pour through everything, and where the clock stands."""
    drawn = ""
    if picture.now_h is not None and picture.from_h <= picture.now_h <= picture.until_h:
        x = frame.x(picture.now_h)
        drawn += path("now", [line(x, SLAB_TOP, x, TICK_AT - 14)])
        drawn += text("now", x=x, y=TICK_AT + 15, kind="now-word", anchor="middle")
    if picture.last_safe_pour_h is None:
        return drawn
    x = frame.x(picture.last_safe_pour_h)
    words = f"last safe pour {picture.last_safe_pour_label}".rstrip()
    half = width_px(words, size_px=14) / 2
    place = min(max(x, frame.left + half), frame.right + NAMES - half)
    return (
        drawn
        + path("gate", [gate(x, SLAB_TOP - 4, WAVE_AT + 6)])
        + text(words, x=place, y=SLAB_TOP - 10, kind="gate-word gate-big over", anchor="middle")
    )
