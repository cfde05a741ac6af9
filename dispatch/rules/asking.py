"""What a booking or a move asks for, as plain values that can cross a form or a queue."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dispatch.rules.firmness import Firmness


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
