"""What a booking or a move asks for, as plain values that can cross a form or a queue."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from dispatch.rules.firmness import Firmness


@dataclass(frozen=True)
class MachineSpan:
    """The part of a stint for which one machine is needed, with its road to the next floor.

    Time is claimed by the quarter of an hour, so a machine that is handed over begins at its
    next floor on a full quarter.
    """

    machine_id: int
    start: datetime
    until: datetime
    travel_after_min: int = 0

    def kept(self) -> dict[str, Any]:
        """The span as a row keeps it."""
        return {
            "machine": self.machine_id,
            "start": self.start.isoformat(),
            "until": self.until.isoformat(),
            "travel_after_min": self.travel_after_min,
        }

    @property
    def claimed(self) -> tuple[datetime, datetime]:
        """From when until when nobody else can have the machine."""
        return self.start, self.until + timedelta(minutes=self.travel_after_min)


def span_of(kept: Mapping[str, Any]) -> MachineSpan:
    """The span that a row keeps."""
    return MachineSpan(
        machine_id=kept["machine"],
        start=datetime.fromisoformat(kept["start"]),
        until=datetime.fromisoformat(kept["until"]),
        travel_after_min=kept["travel_after_min"],
    )


@dataclass(frozen=True)
class PlannedStint:
    """One stretch of one crew as it is to be booked."""

    crew_id: int
    start: datetime
    end: datetime
    machine_ids: tuple[int, ...] = ()
    travel_before_min: int = 0
    travel_after_min: int = 0
    stages: tuple[dict[str, Any], ...] = ()
    pour_at: datetime | None = None
    wet_until: datetime | None = None
    # Machines that are needed for a part of the stint only; all others for the whole of it.
    machine_spans: tuple[MachineSpan, ...] = ()
    # Who goes; empty: whoever belongs to the crew on that day.
    installer_ids: tuple[int, ...] = ()

    def machine_claims(self, resources: Mapping[int, int]) -> dict[int, tuple[datetime, datetime]]:
        """What is claimed of each machine with hours of its own, by its resource."""
        return {resources[span.machine_id]: span.claimed for span in self.machine_spans}


@dataclass(frozen=True)
class Promised:
    """What the customer is promised, rounded up already."""

    level: Firmness
    walk_on_at: datetime | None
    drive_on_at: datetime | None
    drive_on_basis: str = ""


@dataclass(frozen=True)
class Ask:
    """Everything a booking or a move asks for; `key` is the request's idempotency key."""

    stints: Sequence[PlannedStint]
    promised: Promised
    why: str = ""
    held_until: datetime | None = None
    key: str = ""
