"""What every forecast service is asked and gives, whatever its own format looks like."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

from weather.rules.hours import Hours

# Where an hour of the past is from when somebody measured it.
STATION = "station"


class NotHere(Exception):
    """The service does not forecast for this place; another one must be asked."""


@dataclass(frozen=True)
class Spot:
    """Where to ask for: degrees with three decimals, height in metres where known."""

    latitude: Decimal
    longitude: Decimal
    elevation_m: float | None = None


@dataclass(frozen=True)
class Memory:
    """What the service told us last time that it wants to hear again.

    `nws_grid` is "BMX/59,84"; None when the place was never looked up, or too long ago.
    """

    last_modified: str = ""
    nws_grid: str | None = None


@dataclass(frozen=True)
class Said:
    """An answer: the hours, or None for "nothing new"; and what to remember for next time."""

    hours: Hours | None
    last_modified: str = ""
    expires_at: datetime | None = None
    nws_grid: str | None = None
    warnings: tuple[str, ...] = field(default=())
    # Layers that only one service has, by name, one value for each of the hours.
    extra: Mapping[str, Sequence[float | None]] = field(default_factory=dict)
