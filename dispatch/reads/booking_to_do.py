"""What office, crew and customer can do for a booking, beside what its verdict says."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from dispatch.models import Booking, Stint, StoredVerdict
from dispatch.reads.instead import floors_instead
from dispatch.reads.known import known_of
from dispatch.reads.water_asks import asks_of, reason_for_customer
from jobs.models.customers import OTHER_WATER


def to_do(
    booking: Booking,
    stints: Sequence[Stint],
    verdict: StoredVerdict | None,
    *,
    desk: bool,
    now: datetime,
) -> dict[str, Any]:
    """What is kept off the floor, why the customer is told, and who could take a refused day.

    `desk` says that whoever looks may book; nobody else is shown other floors.
    """
    return {
        "asks": asks_of(booking, stints),
        "instead": floors_instead(booking, stints, verdict, now=now) if desk else (),
        "water_choices": OTHER_WATER,
        "reason": reason_for_customer(verdict),
        "known": known_of(booking.job, now=now),
    }
