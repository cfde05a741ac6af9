"""Booked, moved and called-off floors for tests of what crew and customer see."""

from datetime import UTC, datetime, timedelta
from typing import Any

from dispatch.models import Booking, Crew, PromiseLevel
from dispatch.rules.asking import Ask, PlannedStint, Promised
from dispatch.rules.firmness import Firmness
from dispatch.services import bookings
from jobs.access import PROGRAM
from jobs.models import Branch, Job
from tests import builders

NOW = builders.NOW
START = datetime(2026, 7, 7, 13, 0, tzinfo=UTC)  # Tuesday, 8 AM in Chicago
STAGES = ("set_up", "grind", "vacuum", "base", "set", "scrape", "top", "pack")


def planned(crew: Crew, start: datetime, hours: float = 8) -> PlannedStint:
    """One stint with an hour for each stage and the pour at the third."""
    stages = tuple(
        {
            "kind": kind,
            "start": (start + timedelta(hours=i)).isoformat(),
            "end": (start + timedelta(hours=i + 1)).isoformat(),
            "hands": 0 if kind == "set" else 2,
        }
        for i, kind in enumerate(STAGES)
    )
    return PlannedStint(
        crew_id=crew.pk,
        start=start,
        end=start + timedelta(hours=hours),
        stages=stages,
        pour_at=start + timedelta(hours=3),
        wet_until=start + timedelta(hours=10),
    )


def ask(
    crew: Crew,
    *starts: datetime,
    promise: PromiseLevel = PromiseLevel.CONFIRMED,
    why: str = "",
    hours: float = 8,
) -> Ask:
    """What a booking asks for: drive-on two days after the last start."""
    begins = starts or (START,)
    return Ask(
        stints=[planned(crew, start, hours) for start in begins],
        promised=Promised(
            level=Firmness(promise),
            walk_on_at=begins[-1] + timedelta(hours=24),
            drive_on_at=begins[-1] + timedelta(hours=48),
            drive_on_basis="A slab of 68 °F on average",
        ),
        why=why,
    )


def book(
    branch: Branch,
    crew: Crew,
    *starts: datetime,
    job: Job | None = None,
    now: datetime = NOW,
    **given: Any,
) -> Booking:
    """A booked floor."""
    order = job or builders.job(of=branch)
    return bookings.book(
        branch=branch,
        job_id=order.pk,
        version=order.version,
        ask=ask(crew, *starts, **given),
        by=PROGRAM,
        now=now,
    )


def move(
    booking: Booking, crew: Crew, *starts: datetime, now: datetime = NOW, **given: Any
) -> Booking:
    """The same booking on other days."""
    return bookings.move(
        branch=booking.branch,
        booking_id=booking.pk,
        version=booking.version,
        ask=ask(crew, *starts, **given),
        by=PROGRAM,
        now=now,
    )


def call_off(booking: Booking, *, now: datetime = NOW, why: str = "rain") -> Booking:
    """A booking called off."""
    return bookings.call_off(
        branch=booking.branch,
        booking_id=booking.pk,
        version=booking.version,
        by=PROGRAM,
        now=now,
        why=why,
    )
