"""Template filters: stored metric values and UTC instants as a branch reads them.

The argument of a filter with units is a branch, or "us" or "metric". The argument of a filter
with time is a zone, its name, or something with a `tz`. A value that is not there is said to
be unknown: it never turns into a zero.
"""

from collections.abc import Callable, Sized
from dataclasses import replace
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from math import isnan
from zoneinfo import ZoneInfo

from django import template
from django.utils.safestring import SafeString, mark_safe

from dispatch.rules import pictures
from dispatch.rules.pictures.daydraw import PHONE
from dispatch.rules.pictures.svg import LEVEL_WORDS, level_or_unknown
from jobs.rules import clock as clocks
from jobs.rules import units

register = template.Library()
UNKNOWN = "unknown"
STAGE_WORDS = {
    "set_up": "set up",
    "mask": "mask off",
    "grind": "grind and repair",
    "vacuum": "vacuum",
    "verticals": "steps and stem walls",
    "base": "base coat and broadcast",
    "set": "wait for the set",
    "break": "break",
    "scrape": "scrape and vacuum",
    "abrade": "abrade",
    "top": "top coat",
    "pack": "watch and pack",
}
Number = float | int | Decimal | None


def reads_us_units(whose: object) -> bool:
    """Whether `whose` reads feet and °F; a branch, or the name of its units."""
    return str(getattr(whose, "units", whose)) != "metric"


def figure(value: Number) -> float | None:
    """The figure, or None where there is none: nothing, or not a number."""
    return None if value is None or isnan(value) else float(value)


def said(value: float, unit: str, *, places: int = 0) -> str:
    """A figure with thousands set apart, a true minus and its unit."""
    digits = f"{value:,.{places}f}"
    if float(digits.replace(",", "")) == 0:
        digits = digits.lstrip("-")  # nobody says minus zero
    return f"{digits} {unit}".replace("-", "−")


def in_units(
    value: Number,
    whose: object,
    *,
    us: tuple[Callable[[float], float], str, int],
    metric: tuple[str, int],
) -> str:
    """`value` (metric) in the units `whose` reads: (conversion, unit, decimal places)."""
    known = figure(value)
    if known is None:
        return UNKNOWN
    if reads_us_units(whose):
        convert, unit, places = us
        return said(convert(known), unit, places=places)
    unit, places = metric
    return said(known, unit, places=places)


@register.filter
def slack(minutes: int) -> str:
    """Where the last safe pour lies: 1 h 22 min after the planned pour, or before it."""
    hours, rest = divmod(abs(minutes), 60)
    length = " ".join(([f"{hours} h"] if hours else []) + ([f"{rest} min"] if rest else []))
    if not length:
        return "at the planned pour"
    return f"{length} {'after' if minutes > 0 else 'before'} the planned pour"


@register.filter
def area(area_m2: Number, whose: object = "us") -> str:
    """An area: 450 sq ft, or 41.8 m²."""
    return in_units(area_m2, whose, us=(units.ft2_from_m2, "sq ft", 0), metric=("m²", 1))


@register.filter
def length(length_m: Number | Sized, whose: object = "us") -> str | int:
    """A length: 20 ft, or 6.1 m. Of a list or a text it stays Django's own: how many."""
    if isinstance(length_m, Sized):
        return len(length_m)
    return in_units(length_m, whose, us=(units.ft_from_m, "ft", 0), metric=("m", 1))


@register.filter
def temperature(temperature_c: Number, whose: object = "us") -> str:
    """A temperature: 68 °F, or 20.0 °C."""
    return in_units(temperature_c, whose, us=(units.f_from_c, "°F", 0), metric=("°C", 1))


@register.filter
def spread(difference_c: Number, whose: object = "us") -> str:
    """A difference of temperatures, such as slab over dew point: 5.4 °F, or 3.0 °C."""
    return in_units(difference_c, whose, us=(units.f_difference, "°F", 1), metric=("°C", 1))


@register.filter
def rain(depth_mm: Number, whose: object = "us") -> str:
    """An amount of rain: 0.02 in, or 0.5 mm."""
    return in_units(depth_mm, whose, us=(units.inches_from_mm, "in", 2), metric=("mm", 1))


@register.filter
def wind(speed_kmh: Number, whose: object = "us") -> str:
    """A wind: 15 mph, or 24 km/h."""
    return in_units(speed_kmh, whose, us=(units.mph_from_kmh, "mph", 0), metric=("km/h", 0))


@register.filter
def volume(volume_l: Number, whose: object = "us") -> str:
    """A volume: 2.6 gal, or 10.0 l."""
    return in_units(volume_l, whose, us=(units.gal_from_l, "gal", 1), metric=("l", 1))


@register.filter
def mass(mass_kg: Number, whose: object = "us") -> str:
    """A mass: 75 lb, or 34.0 kg."""
    return in_units(mass_kg, whose, us=(units.lb_from_kg, "lb", 0), metric=("kg", 1))


@register.filter
def distance(distance_km: Number, whose: object = "us") -> str:
    """A way to drive: 12 mi, or 19 km."""
    return in_units(distance_km, whose, us=(units.miles_from_km, "mi", 0), metric=("km", 0))


@register.filter
def chance(chance_pct: Number) -> str:
    """A chance of rain; say its hours beside it."""
    known = figure(chance_pct)
    return UNKNOWN if known is None else f"{known:.0f} %"


@register.filter
def money(amount: Number, currency: str = "$") -> str:
    """An amount of money: $1,250, with cents only where there are some."""
    if figure(amount) is None:
        return UNKNOWN
    exact = Decimal(str(amount)).quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)
    sign = "−" if exact < 0 else ""
    return f"{sign}{currency}" + f"{abs(exact):,.2f}".removesuffix(".00")


@register.filter
def hours(length_h: Number) -> str:
    """A length of time: 6 h 15 min."""
    known = figure(length_h)
    if known is None:
        return UNKNOWN
    whole, minutes = divmod(round(known * 60), 60)
    parts = [f"{whole} h"] if whole else []
    if minutes or not parts:
        parts.append(f"{minutes} min")
    return " ".join(parts)


def zone_of(whose: object) -> ZoneInfo:
    """The zone `whose` clocks follow: a zone, its name, or something with a `tz`."""
    zone = getattr(whose, "tz", whose)
    return zone if isinstance(zone, ZoneInfo) else ZoneInfo(str(zone))


@register.filter
def instant(written: str) -> datetime:
    """An instant that is kept in a row as text."""
    return datetime.fromisoformat(written)


@register.filter
def moment(instant: datetime | None, whose: object) -> str:
    """Day and time on the wall there: Tue Dec 1, 7:05 AM."""
    return UNKNOWN if instant is None else clocks.say_moment(instant, zone_of(whose))


@register.filter
def clock(instant: datetime | None, whose: object) -> str:
    """Only the time on the wall there: 7:05 AM."""
    return UNKNOWN if instant is None else clocks.say_time(instant, zone_of(whose))


@register.filter
def stage(kind: object) -> str:
    """A stage of the job as the trade says it."""
    return STAGE_WORDS.get(str(kind), str(kind).replace("_", " "))


@register.filter
def local_day(instant: datetime | date | None, whose: object) -> str:
    """Only the day there: Tue Dec 1. A bare date is said as it is."""
    if instant is None:
        return UNKNOWN
    if isinstance(instant, datetime):
        return clocks.say_day(instant.astimezone(zone_of(whose)).date())
    return clocks.say_day(instant)


@register.simple_tag
def span(start: datetime, end: datetime, whose: object) -> str:
    """A stretch of time there; the second day is named only if it is another."""
    return clocks.say_span(start, end, zone_of(whose))


@register.filter
def level(verdict: object) -> str:
    """One of go, care, no, unknown; whatever else is unknown, never green."""
    return level_or_unknown(str(verdict))


@register.filter
def level_word(verdict: object) -> str:
    """The word for a level."""
    return LEVEL_WORDS[level_or_unknown(str(verdict))]


@register.simple_tag
def mark(verdict: object) -> SafeString:
    """The mark of a level, to stand before its word."""
    return mark_safe(pictures.mark(str(verdict)))  # noqa: S308  our own strokes, no outside words


@register.simple_tag
def week_picture(picture: pictures.WeekPicture) -> SafeString:
    """The picture of a week."""
    return mark_safe(pictures.week_svg(picture))  # noqa: S308  week_svg escapes every word


@register.simple_tag
def day_picture(picture: pictures.DayPicture, width: int = 720) -> SafeString:
    """The picture of a day: `width` 720 for a desk, 360 for a phone."""
    if width <= PHONE:
        picture = replace(picture, key=f"{picture.key}-phone")
    return mark_safe(pictures.day_svg(picture, width=width))  # noqa: S308  day_svg escapes


@register.filter
def day_hours(picture: pictures.DayPicture) -> tuple[pictures.HourRow, ...]:
    """The day by the hour: slab, dew point and rain."""
    return pictures.day_hours(picture)


@register.filter
def day_stages(picture: pictures.DayPicture) -> tuple[pictures.StageRow, ...]:
    """The day's stages on the clock."""
    return pictures.day_stages(picture)


@register.filter
def by_day(picture: pictures.WeekPicture) -> tuple[pictures.DayEntries, ...]:
    """The week as one list per day."""
    return pictures.by_day(picture)
