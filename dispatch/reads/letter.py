"""What a letter to a customer may speak of, read from the booking and what was told before."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from django.db.models import Max

from dispatch.models import (
    Booking,
    CalendarEntry,
    EntryStatus,
    Notice,
    NoticeState,
    PromiseLevel,
    Stint,
)
from dispatch.reads.chain import thresholds_of
from dispatch.reads.water_asks import asks_of
from dispatch.rules.letters import Facts, Told
from dispatch.rules.water_asks import Who
from jobs.models import AuditEvent

CUSTOMER = "customer"


def facts_of(
    booking: Booking, *, page_url: str, why: str, before: Told | None, lines: tuple[str, ...] = ()
) -> Facts:
    """The booking as it stands, as a letter speaks of it."""
    job, branch = booking.job, booking.branch
    stints = shown_stints(booking)
    return Facts(
        company=branch.company,
        telephone=branch.telephone,
        customer=job.customer.name,
        floors=", ".join(floor.name for floor in job.floors.all()),
        address=job.site.address,
        zone=job.site.tz,
        exposures=tuple(job.exposures()),
        units=str(branch.units),
        confirmed=booking.promise == PromiseLevel.CONFIRMED,
        starts=starts_of(booking),
        walk_on_at=booking.walk_on_at,
        drive_on_at=booking.drive_on_at,
        drive_on_basis=booking.drive_on_basis,
        page_url=page_url,
        why=why,
        only_way_in=job.site.only_way_in,
        needed_by=job.car_needed_by,
        contact=job.site.contact,
        pours=tuple(stint.pour_at for stint in stints if stint.pour_at),
        water_off=tuple(ask.words for ask in asks_of(booking, stints) if ask.who is Who.CUSTOMER),
        before=before,
        limits=thresholds_of(branch),
        lines=lines,
    )


def starts_of(booking: Booking) -> tuple[datetime, ...]:
    """When the crew arrives, each visit; of a booking called off, when it would have."""
    return tuple(stint.start for stint in shown_stints(booking))


def shown_stints(booking: Booking) -> list[Stint]:
    """The visits that stand, in order; of a booking called off, those it had."""
    standing = [stint for stint in booking.stints.all() if stint.state != "called_off"]
    return sorted(standing or booking.stints.all(), key=lambda stint: stint.number)


def told_last(notice: Notice) -> Told | None:
    """What the newest mail before this one told the customer of the booking, if any did."""
    sent = (
        Notice.objects.filter(
            booking_id=notice.booking_id, audience=CUSTOMER, state=NoticeState.SENT
        )
        .exclude(pk=notice.pk)
        .order_by("-booking_version", "-pk")
    )
    for earlier in sent:
        if "told" in earlier.facts:
            return told_from_json(earlier.facts["told"])
    return None


def told_json(facts: Facts) -> dict[str, Any]:
    """What a letter tells, as its notice keeps it."""
    return {
        "confirmed": facts.confirmed,
        "starts": [start.isoformat() for start in facts.starts],
        "drive_on_at": facts.drive_on_at.isoformat() if facts.drive_on_at else None,
    }


def told_from_json(kept: dict[str, Any]) -> Told:
    """The inverse of `told_json`."""
    drive_on = kept.get("drive_on_at")
    return Told(
        confirmed=bool(kept["confirmed"]),
        starts=tuple(datetime.fromisoformat(start) for start in kept["starts"]),
        drive_on_at=datetime.fromisoformat(drive_on) if drive_on else None,
    )


# Changes after which a customer is told of another day.
MOVING = ("move", "swap", "undo")


def moved_from(booking: Booking) -> tuple[datetime, ...]:
    """When the stints were to begin before the last move, for deciding how urgent a letter is."""
    event = (
        AuditEvent.objects.filter(subject="booking", subject_id=booking.pk, action__in=MOVING)
        .order_by("-at", "-pk")
        .first()
    )
    stints = event.before.get("stints", []) if event else []
    return tuple(datetime.fromisoformat(stint["start"]) for stint in stints)


def customer_entries(notice: Notice, *, kinds: Collection[str]) -> list[CalendarEntry]:
    """The customer's calendar entries that a mail carries; none while no day was confirmed.

    The first visit always; of the others those that are on, or are off since the last mail of
    one of these kinds.
    """
    entries = CalendarEntry.objects.filter(
        stint__booking_id=notice.booking_id, audience=CUSTOMER
    ).order_by("stint__number")
    last = Notice.objects.filter(
        booking_id=notice.booking_id, audience=CUSTOMER, kind__in=kinds, state=NoticeState.SENT
    ).aggregate(at=Max("sent_at"))["at"]
    return [
        entry
        for number, entry in enumerate(entries)
        if number == 0
        or entry.status != EntryStatus.CANCELLED
        or (last is not None and entry.changed_at > last)
    ]
