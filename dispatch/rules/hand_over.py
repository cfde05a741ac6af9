"""Handing a machine over from one floor to the next on the same day: when, and whether in time."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from jobs.rules.clock import say_time


@dataclass(frozen=True)
class HandOver:
    """A machine that comes from another floor, and the day of the crew that waits for it.

    Everything before the machine is needed is done beforehand, so that the crew is kept
    waiting as little as can be.
    """

    released: datetime  # the other floor needs it no longer
    reaches: datetime  # it stands here
    arrives: datetime  # the latest that the crew can come without delaying anything
    begins: datetime  # the machine runs here
    leaves: datetime
    latest: datetime  # everybody must have left

    @property
    def fits(self) -> bool:
        """Whether the crew is away in time."""
        return self.leaves <= self.latest


def hand_over(
    *,
    released: datetime,
    road_min: int,
    earliest: datetime,
    before: timedelta,
    after: timedelta,
    latest: datetime,
) -> HandOver:
    """The day of a crew whose machine is released elsewhere at `released`.

    The crew can be there at `earliest`. It needs `before` until the machine runs (unloading,
    masking) and `after` from then until it leaves, the waits included.
    """
    reaches = released + timedelta(minutes=road_min)
    begins = max(reaches, earliest + before)
    return HandOver(
        released=released,
        reaches=reaches,
        arrives=begins - before,
        begins=begins,
        leaves=begins + after,
        latest=latest,
    )


def say_too_late(given: HandOver, *, machine: str, where: str, zone: ZoneInfo) -> str:
    """Why the hand-over does not help: where the machine is, and when the crew would leave."""
    return (
        f"{_on_its_way(given, machine, where, zone)}, and even with everything masked "
        f"beforehand the crew would leave at {say_time(given.leaves, zone)}; "
        f"work ends at {say_time(given.latest, zone)}."
    )


def say_possible(given: HandOver, *, machine: str, where: str, zone: ZoneInfo) -> str:
    """What a hand-over would bring that nobody has agreed to yet."""
    return (
        f"{_on_its_way(given, machine, where, zone)} if it is handed over; the crew would then "
        f"leave at {say_time(given.leaves, zone)}. It is booked there for longer."
    )


def _on_its_way(given: HandOver, machine: str, where: str, zone: ZoneInfo) -> str:
    return (
        f"{machine} is needed for {where} until {say_time(given.released, zone)} "
        f"and reaches this floor at {say_time(given.reaches, zone)}"
    )
