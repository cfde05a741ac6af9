"""Words: numbers and hours as an American crew, or a metric one, reads them.

Every sentence of a verdict is built from these, so a number is never shown in two ways.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import isfinite
from zoneinfo import ZoneInfo

from jobs.rules.units import f_difference, f_from_c, inches_from_mm, mph_from_kmh

NOT_KNOWN = "not known"


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
        return text if local.date() == self.day else f"{local:%a} {text}"

    def temperature(self, value_c: float) -> str:
        """A temperature."""
        if not isfinite(value_c):
            return NOT_KNOWN
        return f"{f_from_c(value_c):.0f} °F" if self.us else f"{value_c:.1f} °C"

    def difference(self, value_c: float) -> str:
        """A difference of temperatures, to a tenth because limits are that close."""
        return f"{f_difference(value_c):.1f} °F" if self.us else f"{value_c:.1f} °C"

    def rain(self, value_mm: float) -> str:
        """A depth of rain."""
        return f"{inches_from_mm(value_mm):.2f} in" if self.us else f"{value_mm:.1f} mm"

    def wind(self, value_kmh: float) -> str:
        """A speed of wind."""
        return f"{mph_from_kmh(value_kmh):.0f} mph" if self.us else f"{value_kmh:.0f} km/h"


def share(value_pct: float) -> str:
    """A percentage."""
    return f"{value_pct:.0f} %"


def span(value: timedelta) -> str:
    """A length of time in whole hours, or in minutes below two hours."""
    minutes = round(value.total_seconds() / 60)
    return f"{minutes} min" if abs(minutes) < 120 else f"{minutes // 60} h"
