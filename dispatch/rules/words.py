"""Words: numbers and hours as an American crew, or a metric one, reads them.

Every sentence of a verdict is built from these, so a number is never shown in two ways.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import isfinite
from zoneinfo import ZoneInfo

from jobs.rules.units import f_difference, f_from_c, inches_from_mm, mph_from_kmh

NOT_KNOWN = "not known"
DAYS_OF_WEEK = 7


@dataclass(frozen=True)
class Words:
    """How to write numbers for one site on one day. `units` is "us" or "metric"."""

    zone: ZoneInfo
    units: str
    day: date

    def __post_init__(self) -> None:
        if self.units not in {"us", "metric"}:
            raise ValueError(f"units are us or metric, not {self.units!r}")

    @property
    def us(self) -> bool:
        """Fahrenheit, inches and miles."""
        return self.units == "us"

    def clock(self, at: datetime) -> str:
        """The time at the site, with the weekday where it is not the day of the pour."""
        local = at.astimezone(self.zone)
        text = f"{local:%H:%M}"
        if self.us:
            hour, half = local.hour % 12 or 12, "AM" if local.hour < 12 else "PM"
            text = f"{hour}:{local:%M} {half}" if local.minute else f"{hour} {half}"
        if local.date() == self.day:
            return text
        # A weekday names one day only within the week around the pour.
        if abs((local.date() - self.day).days) < DAYS_OF_WEEK:
            return f"{local:%a} {text}"
        return f"{local:%b} {local.day} {text}"

    def temperature(self, value_c: float) -> str:
        """A temperature."""
        if not isfinite(value_c):
            return NOT_KNOWN
        return f"{plain(f_from_c(value_c))} °F" if self.us else f"{plain(value_c)} °C"

    def difference(self, value_c: float) -> str:
        """A difference of temperatures."""
        return f"{plain(f_difference(value_c))} °F" if self.us else f"{plain(value_c)} °C"

    def rain(self, value_mm: float) -> str:
        """A depth of rain."""
        return f"{inches_from_mm(value_mm):.2f} in" if self.us else f"{value_mm:.1f} mm"

    def wind(self, value_kmh: float) -> str:
        """A speed of wind."""
        return f"{mph_from_kmh(value_kmh):.0f} mph" if self.us else f"{value_kmh:.0f} km/h"


def plain(value: float) -> str:
    """A number to a tenth, as limits are that close, and no tenth where it is none."""
    return f"{value:.1f}".removesuffix(".0")


def share(value_pct: float) -> str:
    """A percentage."""
    return f"{plain(value_pct)} %"


def span(value: timedelta) -> str:
    """A length of time: minutes below two hours, whole hours below four days, then days."""
    minutes = round(value.total_seconds() / 60)
    if minutes < 2 * 60:
        return f"{minutes} min"
    hours = minutes // 60
    return f"{hours} h" if hours < 4 * 24 else f"{hours // 24} days"
