"""A week as plain values: what its picture, its list on a phone and its summary are made of.

Every `_h` is elapsed hours since the first day's local midnight, so a week with a change of
clocks is drawn as long as it is. `None` means unknown.
"""

from dataclasses import dataclass, field

from dispatch.rules.pictures.svg import clock

FAHRENHEIT_PER_C = 1.8
# What a stage means for the floor decides how it is drawn: resin goes down, or the slab is
# worked hard; everything else is light work.
COATS = frozenset({"base", "verticals", "top", "primer"})
HARD = frozenset({"grind", "vacuum", "scrape", "abrade", "repair"})


@dataclass(frozen=True)
class StageBar:
    """One stage: `kind` as of a stage of the job ("grind", "base"), `wait` if no hands."""

    kind: str
    start_h: float
    end_h: float
    wait: bool = False


@dataclass(frozen=True)
class StintBar:
    """One stint with its promise (`firm`: held, planned, confirmed) and verdict."""

    href: str
    title: str
    start_h: float
    end_h: float
    stages: tuple[StageBar, ...] = ()
    level: str = "unknown"
    level_word: str = "Unknown"
    firm: str = ""
    note: str = ""  # the reason in a few words
    wet_from_h: float | None = None
    wet_until_h: float | None = None
    last_safe_pour_h: float | None = None
    last_safe_pour_label: str = ""  # "13:11"
    drive_on_h: float | None = None
    drive_on_label: str = ""  # "Wed 08:00"


@dataclass(frozen=True)
class OffSpan:
    """Hours of a crew that hold no stint for a reason: unsold on purpose, or away."""

    start_h: float
    end_h: float
    label: str
    away: bool = False


@dataclass(frozen=True)
class CrewRow:
    """One crew, who is in it, its stints in any order."""

    name: str
    people: str = ""
    stints: tuple[StintBar, ...] = ()
    off: tuple[OffSpan, ...] = ()


@dataclass(frozen=True)
class DayColumn:
    """One day: 23 to 25 hours long, with its weather hour by hour (elapsed hours).

    Sunrise and sunset are clock hours. Between `wide_from` and `wide_until` (clock hours)
    the picture gives hours their full width.
    """

    label: str
    start_h: float
    end_h: float
    rain_chance_pct: tuple[float | None, ...] = ()
    margin_c: tuple[float | None, ...] = ()  # slab minus dew point
    sunrise: float | None = None
    sunset: float | None = None
    holiday: str = ""
    today: bool = False
    wide_from: float = 6.0
    wide_until: float = 20.0

    def elapsed(self, clock_hour: float) -> float:
        """Elapsed hours at `clock_hour` of this day, counted from its end.

        Clocks change in the small hours: counting back from midnight is right after it.
        """
        return self.end_h - (24 - clock_hour)

    def clock_at(self, elapsed_h: float) -> float:
        """The clock hour of this day at `elapsed_h`."""
        return 24 - (self.end_h - elapsed_h)


@dataclass(frozen=True)
class WeekPicture:
    """All of a week. `margin_min_c` and `margin_care_c` are the limits drawn as lines."""

    title: str
    days: tuple[DayColumn, ...]
    rows: tuple[CrewRow, ...]
    margin_of: str = "open slab"
    margin_min_c: float = 3.0
    rain_limit_pct: float = 30.0
    now_h: float | None = None
    fahrenheit: bool = False
    twelve: bool = False  # clocks with AM and PM
    key: str = "week"  # prefix of ids, where two pictures share a page


@dataclass(frozen=True)
class DayEntries:
    """One day as a list: who does what, for narrow screens and paper."""

    day: DayColumn
    summary: str
    stints: tuple[tuple[CrewRow, StintBar], ...] = field(default=())
    off: tuple[tuple[CrewRow, OffSpan], ...] = field(default=())


def by_day(picture: WeekPicture) -> tuple[DayEntries, ...]:
    """The week as one list per day, in order of start; a stint stands on the day it starts."""
    return tuple(
        DayEntries(
            day=day,
            summary=f"{rain_words(day, picture)}. {margin_words(day, picture)}.",
            stints=tuple(
                sorted(
                    (
                        (row, stint)
                        for row in picture.rows
                        for stint in row.stints
                        if starts_in(day, stint.start_h, picture)
                    ),
                    key=lambda pair: pair[1].start_h,
                )
            ),
            off=tuple(
                (row, span)
                for row in picture.rows
                for span in row.off
                if starts_in(day, span.start_h, picture)
            ),
        )
        for day in picture.days
    )


def starts_in(day: DayColumn, start_h: float, picture: WeekPicture) -> bool:
    """Whether a start belongs to `day`; one before the week belongs to its first day."""
    first = day is picture.days[0]
    return day.start_h <= start_h < day.end_h or (first and start_h < day.start_h)


def rain_words(day: DayColumn, picture: WeekPicture, *, brief: bool = False) -> str:
    """The highest chance of the day with its hours, and whether part of it is unknown."""
    known = [chance for chance in day.rain_chance_pct if chance is not None]
    lead = "" if brief else "Rain "
    if not known:
        return "no forecast" if brief else "Rain unknown, no forecast"
    top = max(known)
    part = ", part unknown" if len(known) < day.end_h - day.start_h else ""
    if top <= 0:
        return f"{lead or 'rain '}0 % all day" if not part else f"{lead or 'rain '}0 %{part}"
    first = next(i for i, chance in enumerate(day.rain_chance_pct) if chance == top)
    last = first
    while last + 1 < len(day.rain_chance_pct) and day.rain_chance_pct[last + 1] == top:
        last += 1
    if not part and last + 1 - first == len(day.rain_chance_pct):
        return f"{lead}{top:.0f} % all day"
    start = clock(day.clock_at(day.start_h + first), twelve=picture.twelve)
    end = clock(day.clock_at(day.start_h + last + 1), twelve=picture.twelve)
    return f"{lead}{top:.0f} %, {start} to {end}{part}"


def margin_words(day: DayColumn, picture: WeekPicture, *, brief: bool = False) -> str:
    """The least margin over dew point of the day, with its hour."""
    whose = picture.margin_of[:1].upper() + picture.margin_of[1:]
    known = [(margin, i) for i, margin in enumerate(day.margin_c) if margin is not None]
    if not known:
        return "no forecast" if brief else f"{whose} over dew point unknown"
    least, index = min(known)
    hour = clock(day.clock_at(day.start_h + index), twelve=picture.twelve)
    amount = spread_words(least, fahrenheit=picture.fahrenheit)
    if brief:
        return f"least {amount}, {hour}"
    return f"{whose} at least {amount} over dew point, at {hour}"


def spread_words(spread_c: float, *, fahrenheit: bool) -> str:
    """A difference of temperatures with its unit; no offset, only the size of a degree."""
    if fahrenheit:
        return f"{spread_c * FAHRENHEIT_PER_C:.1f} °F".replace("-", "−")
    return f"{spread_c:.1f} °C".replace("-", "−")
