"""Times as the clocks on a wall show them, turned into instants without guessing."""

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from jobs.rules.clock import say_day, say_time


class NoSuchTime(ValueError):
    """The clocks jump past this time; the message says so and what to type."""


@dataclass(frozen=True)
class Shown:
    """The instant (UTC) at which clocks show a time; `twice` if they show it once more."""

    at: datetime
    twice: bool


def instant_shown(local: datetime, zone: ZoneInfo) -> Shown:
    """The first instant at which the clocks of `zone` show `local` (a time without a zone)."""
    if local.tzinfo is not None:
        raise ValueError("a time on the wall has no zone of its own")
    first = local.replace(tzinfo=zone, fold=0)
    at = first.astimezone(UTC)
    back = at.astimezone(zone)
    if back.replace(tzinfo=None) != local:
        # Said in UTC because the time to say is not one of the zone's.
        said = say_time(local.replace(tzinfo=UTC), ZoneInfo("UTC"))
        raise NoSuchTime(
            f"The clocks go forward past {said} on {say_day(local.date())}, so that time does "
            f"not exist; type {say_time(at, zone)} or another."
        )
    # Python counts two times that differ only in fold as equal, so offsets are compared.
    twice = first.utcoffset() != local.replace(tzinfo=zone, fold=1).utcoffset()
    return Shown(at=at, twice=twice)
