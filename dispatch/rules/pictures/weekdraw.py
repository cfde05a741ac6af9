"""The picture of a week: weather above, below it each crew with its stints to scale."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape

from dispatch.rules.pictures.axis import Axis, week_axis
from dispatch.rules.pictures.sky import FOOT, RAIN_TOP, sky
from dispatch.rules.pictures.svg import (
    box,
    fitted,
    gate,
    level_or_unknown,
    line,
    mark_paths,
    path,
    patterns,
    text,
    wave,
    wheel,
    width_px,
    wrapped,
)
from dispatch.rules.pictures.week import (
    COATS,
    HARD,
    CrewRow,
    OffSpan,
    StintBar,
    WeekPicture,
    margin_words,
    rain_words,
)

WIDTH, LEFT, RIGHT = 1240.0, 112.0, 1239.0
TITLE_PX, SMALL_PX = 12.5, 11.5
LANE = 84  # title, bar, wave, two lines of words
BAR_TOP, BAR_FOOT, WAVE_AT, WORD_AT, LAST_AT = 21, 35, 45, 62, 76
EMPTY = 40.0
SECOND = 14  # a second line of a title
LEAST_GAP = 4.0
LEAST_ROOM = 84.0  # below this, words of neighbours go into lanes of their own
RAIL = 15.0


@dataclass
class Strokes:
    """Paths gathered by kind over the whole picture."""

    light: list[str] = field(default_factory=list)
    hard: list[str] = field(default_factory=list)
    coat: list[str] = field(default_factory=list)
    wait: list[str] = field(default_factory=list)
    waves: list[str] = field(default_factory=list)
    gates: list[str] = field(default_factory=list)
    rails: list[str] = field(default_factory=list)
    wheels: list[str] = field(default_factory=list)
    unsold: list[str] = field(default_factory=list)
    away: list[str] = field(default_factory=list)
    frames: dict[str, list[str]] = field(
        default_factory=lambda: {"confirmed": [], "planned": [], "held": []}
    )
    cuts: list[str] = field(default_factory=list)
    words: list[str] = field(default_factory=list)

    def drawn(self, *, key: str) -> str:
        """Everything, the quiet strokes first and the links and words on top."""
        return (
            path("unsold", self.unsold)
            + path("away", self.away, fill=f"url(#{key}-gap)")
            + path("row-cut", self.cuts)
            + path("stage-light", self.light)
            + path("stage-hard", self.hard)
            + path("stage-coat", self.coat)
            + path("stage-wait", self.wait)
            + "".join(path(f"frame-{firm}", self.frames[firm]) for firm in self.frames)
            + path("wave", self.waves)
            + path("rail", self.rails)
            + path("wheel", self.wheels)
            + path("gate", self.gates)
            + "".join(self.words)
        )


def week_svg(picture: WeekPicture) -> str:
    """The week as SVG. Stints are links with a full sentence each for those who listen."""
    axis = week_axis(picture.days, left=LEFT, right=RIGHT)
    column = (RIGHT - LEFT) / len(picture.days)
    strokes = Strokes()
    y = FOOT
    deep = second_line(picture.rows)
    for row in picture.rows:
        y = draw_row(strokes, row, axis, y=y, column=column, deep=deep)
    key = escape(picture.key)
    head = (
        f'<svg class="picture picture-week" viewBox="-1 0 {WIDTH + 2:.0f} {y + 18:.0f}"'
        f' role="group" aria-labelledby="{key}-title {key}-desc">'
        f'<title id="{key}-title">{escape(picture.title)}</title>'
        f'<desc id="{key}-desc">{escape(summary(picture))}</desc>{patterns(key)}'
    )
    weather = sky(picture, axis, left=LEFT, right=RIGHT, foot=y)
    return head + weather + now_line(picture, axis, y) + strokes.drawn(key=key) + "</svg>"


def summary(picture: WeekPicture) -> str:
    """The week in sentences: how much is booked, and each day's weather."""
    count = sum(len(row.stints) for row in picture.rows)
    days = " ".join(
        f"{day.label}: {rain_words(day, picture)}. {margin_words(day, picture)}."
        for day in picture.days
    )
    crews = "1 crew" if len(picture.rows) == 1 else f"{len(picture.rows)} crews"
    return f"{crews}, {count} {'stint' if count == 1 else 'stints'}. {days}"


def now_line(picture: WeekPicture, axis: Axis, foot: float) -> str:
    """Where the clock stands, if it stands inside the week."""
    if picture.now_h is None or not (
        picture.days[0].start_h <= picture.now_h <= picture.days[-1].end_h
    ):
        return ""
    x = axis.x(picture.now_h)
    return path("now", [line(x, RAIN_TOP - 4, x, foot)]) + text(
        "now", x=x, y=foot + 13, kind="now-word", anchor="middle"
    )


def draw_row(
    strokes: Strokes, row: CrewRow, axis: Axis, *, y: float, column: float, deep: int
) -> float:
    """Draw one crew from `y` down; return where the next begins. `deep` as of `second_line`."""
    strokes.cuts.append(line(0, y, RIGHT, y))
    under = draw_crew(strokes, row, y=y)
    for span in row.off:
        draw_off(strokes, span, axis, y=y + 8)
    stints = sorted(row.stints, key=lambda one: one.start_h)
    nexts = [*(axis.x(stint.start_h) for stint in stints[1:]), RIGHT + column]
    lanes: list[float] = []
    lane_px = LANE + deep
    for stint, after in zip(stints, nexts, strict=False):
        start = axis.x(stint.start_h)
        room = max(column - 10, axis.x(stint.end_h) - start)
        if wet_end(stint, axis) + LEAST_GAP <= after:  # else the next lies in another lane
            room = max(min(room, after - start - 9), LEAST_ROOM)
        lane = seat(lanes, start, extent(stint, axis, room=room))
        draw_stint(strokes, stint, axis, y=y + 4 + lane_px * lane, room=room, deep=deep)
    foot = y + 8 + (lane_px * len(lanes) or (LANE - 4 if row.off else EMPTY))
    foot = draw_rails(strokes, stints, axis, y=foot)
    return max(foot, under) + 4


def draw_crew(strokes: Strokes, row: CrewRow, *, y: float) -> float:
    """Name and people of a crew at the left edge; return their foot."""
    for words in wrapped(row.name, room_px=LEFT - 22, size_px=14.5):
        strokes.words.append(text(words, x=0, y=y + 24, kind="crew-name"))
        y += 17
    for words in wrapped(row.people, room_px=LEFT - 10, size_px=SMALL_PX):
        strokes.words.append(text(words, x=0, y=y + 25, kind="soft"))
        y += 14
    return y + 25


def second_line(rows: Iterable[CrewRow]) -> int:
    """How much deeper stints are drawn, if any title goes on after a comma."""
    return SECOND if any("," in stint.title for row in rows for stint in row.stints) else 0


def seat(lanes: list[float], start: float, end: float) -> int:
    """The first lane free at `start`; it is taken until `end`."""
    for index, taken in enumerate(lanes):
        if taken <= start:
            lanes[index] = end
            return index
    lanes.append(end)
    return len(lanes) - 1


def extent(stint: StintBar, axis: Axis, *, room: float) -> float:
    """Up to where a stint with its words needs its lane for itself."""
    name, _, more = stint.title.partition(", ")
    words = max(
        18 + width_px(name, size_px=TITLE_PX),
        width_px(more, size_px=SMALL_PX),
        width_px(promise_words(stint), size_px=SMALL_PX),
        width_px(last_words(stint), size_px=SMALL_PX),
    )
    return max(wet_end(stint, axis), axis.x(stint.start_h) + min(room, words)) + LEAST_GAP


def wet_end(stint: StintBar, axis: Axis) -> float:
    """The right end of the bar and of its wave."""
    return axis.x(max(stint.end_h, stint.wet_until_h or stint.end_h))


def promise_words(stint: StintBar) -> str:
    """The word of the verdict and how firm the day is."""
    return f"{stint.level_word} · {stint.firm}" if stint.firm else stint.level_word


def last_words(stint: StintBar) -> str:
    """What to mind: the last safe pour where there is one, else the reason."""
    if stint.last_safe_pour_label:
        return f"pour by {stint.last_safe_pour_label}"
    return stint.note


def draw_stint(
    strokes: Strokes, stint: StintBar, axis: Axis, *, y: float, room: float, deep: int
) -> None:
    """One stint: words in a link, bar of stages, wave while wet, gate at the last safe pour."""
    strokes.words.append(stint_words(stint, axis.x(stint.start_h), room=room, y=y, deep=deep))
    y += deep
    x0, x1 = axis.x(stint.start_h), axis.x(stint.end_h)
    draw_stages(strokes, stint, axis, y=y)
    width = f"{max(x1 - x0, 3) + 5:.1f}"
    strokes.frames.get(stint.firm, strokes.frames["planned"]).append(
        f"M{x0 - 2.5:.1f} {y + BAR_TOP - 2.5:.1f}h{width}v{BAR_FOOT - BAR_TOP + 5}h-{width}z"
    )
    if stint.wet_from_h is not None and stint.wet_until_h is not None:
        wet0, wet1 = axis.x(stint.wet_from_h), axis.x(stint.wet_until_h)
        if wet1 > wet0:
            strokes.waves.append(wave(wet0, wet1, y + WAVE_AT))
    if stint.last_safe_pour_h is not None:
        strokes.gates.append(gate(axis.x(stint.last_safe_pour_h), y + BAR_TOP - 5, y + WAVE_AT + 4))


def draw_stages(strokes: Strokes, stint: StintBar, axis: Axis, *, y: float) -> None:
    """The stages of a stint by what they mean for the floor; a wait is a dotted line."""
    # A stage is a thick stroke: half the numbers of a rectangle, and numbers cost the time.
    middle = f"{y + (BAR_TOP + BAR_FOOT) / 2:.1f}"
    at = axis.at
    for stage in stint.stages:
        piece = f"M{at(stage.start_h)} {middle}H{at(stage.end_h)}"
        if stage.wait:
            strokes.wait.append(piece)
        elif stage.kind in COATS:
            strokes.coat.append(piece)
        elif stage.kind in HARD:
            strokes.hard.append(piece)
        else:
            strokes.light.append(piece)


def stint_words(stint: StintBar, x0: float, *, room: float, y: float, deep: int) -> str:
    """The link of a stint: mark, title in one line or two, verdict, and what to mind.

    It is moved to its place as a whole, so that nearly all numbers inside are fixed.
    """
    level = level_or_unknown(stint.level)
    spoken = escape(sentence(stint))
    name, _, more = stint.title.partition(", ")
    top = 0 if more else deep
    minded = "gate-word" if stint.last_safe_pour_label else "small"
    return (
        f'<a class="stint level-{level}" href="{escape(stint.href)}" aria-label="{spoken}"'
        f' transform="translate({x0:.1f} {y:.1f})"><title>{spoken}</title>'
        f'<path class="touch" d="M-2 0H{room:.0f}V{LANE + deep - 4}H-2z"/>'
        f'<g class="mark mark-{level}" transform="translate(0 {top}) scale(.7)">'
        f"{mark_paths(level)}</g>"
        + cut_text(name, 18, top + 13, kind="stint-title", room=room - 18, size=TITLE_PX)
        + cut_text(more, 0, top + 12 + deep, kind="soft", room=room)
        + cut_text(promise_words(stint), 0, deep + WORD_AT, kind=f"word word-{level}", room=room)
        + cut_text(last_words(stint), 0, deep + LAST_AT, kind=minded, room=room)
        + "</a>"
    )


def cut_text(words: str, x: int, y: int, *, kind: str, room: float, size: float = SMALL_PX) -> str:
    """A line of text cut to its room; nothing where there are no words."""
    shown = fitted(words, room_px=room, size_px=size)
    if not shown:
        return ""
    return f'<text class="{kind}" x="{x}" y="{y}">{escape(shown, quote=False)}</text>'


def sentence(stint: StintBar) -> str:
    """A stint in words, for a screen reader and for a pointer at rest."""
    parts = [stint.title, stint.level_word]
    if stint.firm:
        parts.append(stint.firm)
    if stint.note:
        parts.append(stint.note)
    if stint.last_safe_pour_label:
        parts.append(f"last safe pour {stint.last_safe_pour_label}")
    if stint.drive_on_label:
        parts.append(f"drive-on {stint.drive_on_label}")
    return ", ".join(parts)


def draw_off(strokes: Strokes, span: OffSpan, axis: Axis, *, y: float) -> None:
    """Hours kept unsold, or a crew away: a frame with its reason inside."""
    x0, x1 = axis.x(span.start_h) + 2, axis.x(span.end_h) - 2
    (strokes.away if span.away else strokes.unsold).append(box(x0, x1, y, y + LANE - 14))
    for index, words in enumerate(wrapped(span.label, room_px=x1 - x0 - 10, size_px=SMALL_PX)[:4]):
        strokes.words.append(text(words, x=x0 + 6, y=y + 15 + 14 * index, kind="soft over"))


def draw_rails(strokes: Strokes, stints: Iterable[StintBar], axis: Axis, *, y: float) -> float:
    """A rail for each stint that ends in a drive-on; return the foot of the lowest."""
    rails: list[float] = []
    for stint in stints:
        if stint.drive_on_h is not None:
            at = axis.x(stint.drive_on_h)
            draw_rail(strokes, rails, stint, axis.x(stint.end_h), at, y=y)
    return y + RAIL * len(rails)


def draw_rail(
    strokes: Strokes, rails: list[float], stint: StintBar, start: float, at: float, *, y: float
) -> None:
    """From the end of a stint (`start`) to its drive-on (`at`), a wheel there and its name.

    The name stands right of the wheel, or on the rail where it would leave the picture.
    """
    name = stint.title.partition(",")[0]
    words = f"{name}: drive-on {stint.drive_on_label}".rstrip()
    room = width_px(words, size_px=SMALL_PX)
    later = at >= RIGHT - 1  # after this week: an arrow in place of the wheel
    inward = at + 10 + room > RIGHT
    taken = RIGHT if later else at + 14 + (0 if inward else room)
    rail = seat(rails, min(start, at - room - 12) if inward else start, taken)
    middle = y + RAIL * rail + 8
    strokes.rails.append(f"M{start:.1f} {middle - 4:.1f}v4H{max(start, at - 6):.1f}")
    if later:
        strokes.rails.append(f"M{at - 6:.1f} {middle - 4:.1f}l5 4l-5 4")
    else:
        strokes.wheels.append(wheel(at, middle))
    strokes.words.append(
        text(words, x=at - 12, y=middle + 4, kind="rail-word over", anchor="end")
        if inward
        else text(words, x=at + 9, y=middle + 4, kind="rail-word")
    )
