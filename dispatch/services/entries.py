"""Calendar entries follow bookings, in the same transaction: one UID for life, sequence up."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from dispatch.models import BookingState, CalendarEntry, EntryStatus, PromiseLevel, Stint
from jobs.rules.clock import say_moment


@dataclass(frozen=True)
class Shown:
    """What a subscriber sees of a stint."""

    status: EntryStatus
    start: datetime
    end: datetime
    zone: str
    summary: str
    location: str
    description: str


def audiences(stint: Stint) -> dict[str, Shown]:
    """Who should see the stint now, and as what."""
    booking = stint.booking
    if booking.state == BookingState.HELD:
        status = EntryStatus.TENTATIVE
    elif booking.promise == PromiseLevel.CONFIRMED:
        status = EntryStatus.CONFIRMED
    else:
        status = EntryStatus.TENTATIVE
    work = _for_work(stint, status)
    shown = {f"crew:{stint.crew_id}": work, f"branch:{booking.branch_id}": work}
    for machine in stint.machines.all():
        shown[f"machine:{machine.pk}"] = work
    if booking.promise == PromiseLevel.CONFIRMED and booking.state == BookingState.BOOKED:
        shown["customer"] = _for_customer(stint)
    return shown


def follow(stints: Iterable[Stint], *, now: datetime) -> None:
    """Bring the stored entries of `stints` up to date; whoever lost one sees it called off."""
    fresh = [entry for stint in stints for entry in _follow(stint, now=now)]
    CalendarEntry.objects.bulk_create(fresh)


def _follow(stint: Stint, *, now: datetime) -> list[CalendarEntry]:
    """Change what is stored of one stint, and return what is to be stored beside it."""
    stood = stint.booking.state != BookingState.CALLED_OFF and stint.state != "called_off"
    wanted = audiences(stint) if stood else {}
    for entry in stint.entries.all():
        shown = wanted.pop(entry.audience, None)
        if shown is None:
            _call_off(entry, now=now)
        else:
            _change(entry, shown, now=now)
    return _fresh(stint, wanted, now=now)


def first_of(stint: Stint, *, now: datetime) -> list[CalendarEntry]:
    """Entries of a stint that has none yet, still to be stored."""
    return _fresh(stint, audiences(stint), now=now)


def _fresh(stint: Stint, wanted: Mapping[str, Shown], *, now: datetime) -> list[CalendarEntry]:
    return [
        CalendarEntry(stint=stint, audience=audience, created_at=now, changed_at=now, **vars(shown))
        for audience, shown in sorted(wanted.items())
    ]


def _change(entry: CalendarEntry, shown: Shown, *, now: datetime) -> None:
    before = {name: getattr(entry, name) for name in vars(shown)}
    if before == vars(shown):
        return
    # RFC 5546 section 2.1.4: the sequence rises when start, end or status change.
    moved = any(before[name] != getattr(shown, name) for name in ("start", "end", "status"))
    for name, value in vars(shown).items():
        setattr(entry, name, value)
    entry.sequence += 1 if moved else 0
    entry.changed_at = now
    entry.save()


def _call_off(entry: CalendarEntry, *, now: datetime) -> None:
    if entry.status == EntryStatus.CANCELLED:
        return
    entry.status = EntryStatus.CANCELLED
    entry.summary = f"NOT ON: {entry.summary}"[:200]
    entry.sequence += 1
    entry.changed_at = now
    entry.save()


def _for_work(stint: Stint, status: EntryStatus) -> Shown:
    job = stint.booking.job
    floors = ", ".join(floor.name for floor in job.floors.all())
    firm = "" if status == EntryStatus.CONFIRMED else " (planned)"
    lines = [f"{job.system}", f"Floor: {floors}", f"Crew: {stint.crew}"]
    if stint.pour_at:
        lines.append(f"Planned pour {say_moment(stint.pour_at, job.site.tz)}")
    lines.append("The day sheet has the last safe pour and is always current.")
    return Shown(
        status=status,
        start=stint.start,
        end=stint.end,
        zone=job.site.zone,
        summary=f"{job.customer.name}: {floors}{firm}"[:200],
        location=job.site.address[:300],
        description="\n".join(lines),
    )


def _for_customer(stint: Stint) -> Shown:
    booking = stint.booking
    job = booking.job
    zone = job.site.tz
    lines = [f"We coat your floor: {', '.join(floor.name for floor in job.floors.all())}."]
    if booking.walk_on_at:
        lines.append(f"Walk on it from {say_moment(booking.walk_on_at, zone)}.")
    if booking.drive_on_at:
        lines.append(f"Drive on it from {say_moment(booking.drive_on_at, zone)}.")
    lines.append("The page behind your link is always current.")
    return Shown(
        status=EntryStatus.CONFIRMED,
        start=stint.start,
        end=stint.end,
        zone=job.site.zone,
        summary=f"{job.branch.company}: your floor"[:200],
        location=job.site.address[:300],
        description="\n".join(lines),
    )
