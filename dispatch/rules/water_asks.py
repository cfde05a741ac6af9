"""Water asks: what keeps other water off a floor, by what was seen at the site and the season.

Each has its clock times, so that nobody asks "until when?". Common practice of exterior
coaters and garage floor installers.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from dispatch.rules.findings import Dryness
from dispatch.rules.thresholds import DEFAULTS, Thresholds
from jobs.rules.clock import say_day, say_time
from jobs.rules.other_water import Water
from weather.rules.exposures import Exposure

# Months of the northern year; half a year later south of the equator.
SNOWY = frozenset({11, 12, 1, 2, 3, 4})
LEAFY = frozenset({9, 10, 11})
EVENING = time(18)


class Who(StrEnum):
    """Who sees to it."""

    CUSTOMER = "customer"
    CREW = "crew"


@dataclass(frozen=True)
class Ask:
    """One thing to have ready, in words with its clock times."""

    who: Who
    words: str


@dataclass(frozen=True, kw_only=True)
class Occasion:
    """A floor's day as these asks see it. `latitude` says which half of the year it is."""

    exposures: Collection[Exposure]
    waters: Collection[Water]
    arrive: datetime
    pour: datetime
    coated: datetime  # when the last coat is down
    zone: ZoneInfo
    latitude: float = 40.0
    dryness: Sequence[Dryness] = ()
    thresholds: Thresholds = DEFAULTS

    @property
    def month(self) -> int:
        """The month in the terms of the northern year."""
        month = self.arrive.astimezone(self.zone).month
        return month if self.latitude >= 0 else (month + 5) % 12 + 1

    @property
    def dry_from(self) -> datetime:
        """A day before the crew comes."""
        return self.arrive - timedelta(hours=self.thresholds.dry_no_h)

    @property
    def evening_after(self) -> datetime:
        """The evening of the day after the last coat."""
        day = self.coated.astimezone(self.zone).date() + timedelta(days=1)
        return datetime.combine(day, EVENING, tzinfo=self.zone)

    def say(self, at: datetime) -> str:
        """Day and time at the site."""
        return f"{say_day(at.astimezone(self.zone).date())}, {say_time(at, self.zone)}"


def asks(of: Occasion) -> tuple[Ask, ...]:
    """Everything to have ready against other water, the customer's part first."""
    return (*_customers(of), *_crews(of))


def _customers(of: Occasion) -> Iterator[Ask]:
    """What only the people who live there can do."""
    span = f"from {of.say(of.dry_from)} until {of.say(of.evening_after)}"
    eve = of.say(of.arrive - timedelta(hours=14))
    outdoors = any(exposure.open for exposure in of.exposures)
    if outdoors or Water.IRRIGATION in of.waters:
        yield Ask(Who.CUSTOMER, f"Keep sprinklers and irrigation off {span}.")
    if outdoors or Water.WASHING in of.waters:
        yield Ask(Who.CUSTOMER, f"Do not hose or wash the floor {span}.")
    if Water.VEHICLES in of.waters:
        slush = ", and knock snow and slush off before" if of.month in SNOWY else ""
        yield Ask(Who.CUSTOMER, f"Keep wet cars out from {of.say(of.dry_from)}{slush}.")
    if Water.ROOF_EDGE in of.waters:
        leaves = " and clear of leaves" if of.month in LEAFY else ""
        yield Ask(Who.CUSTOMER, f"Have gutters tight{leaves} and downspouts led away by {eve}.")
    if Water.THAW in of.waters and of.month in SNOWY:
        yield Ask(Who.CUSTOMER, f"Clear snow from roof edge and drive by {eve}.")


def _crews(of: Occasion) -> Iterator[Ask]:
    """What the crew brings along and does first."""
    if Water.SLOPE in of.waters:
        yield Ask(Who.CREW, "Take a tarp and a dam for the threshold: the drive falls to the door.")
    if Water.ROOF_EDGE in of.waters:
        yield Ask(Who.CREW, "Look at the roof edge before the pour: it drips after rain.")
    part = wetted_lately(of)
    if part:
        yield Ask(Who.CREW, f"On arrival, meter first on {part}, before the grinder starts.")


def wetted_lately(of: Occasion) -> str:
    """The part that looked dry last, where any was wet of late; nothing where none was."""
    since = of.pour - timedelta(hours=2 * of.thresholds.dry_care_h)
    parts = [part for each in of.dryness for part in each.parts]
    lately = [
        (part.looked_dry_at or part.wetted_at, part.part)
        for part in parts
        if part.wetted_at is not None and part.wetted_at > since
    ]
    return max(lately)[1] if lately else ""
