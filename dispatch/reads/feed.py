"""Feeds: what a crew's calendar shows, from the stored entries alone."""

from datetime import datetime, time, timedelta
from uuid import uuid5

from django.conf import settings
from django.db.models import Q
from django.urls import reverse

from dispatch import calendars
from dispatch.models import CalendarEntry, EntryStatus, Link

BACK = timedelta(days=60)
AHEAD = timedelta(days=400)
# Whoever looks at a calendar once a fortnight must still see what is not on any more.
CANCELLED_STAYS = timedelta(days=14)
REPLACED_SAYS_SO = timedelta(days=30)


def feed_name(link: Link) -> str:
    """What the calendar is called on the subscriber's phone."""
    return f"{link.crew or link.branch}, {link.branch.company}"


def crew_feed(link: Link, *, now: datetime) -> bytes:
    """The feed of a live link. It changes with its entries, and once a day with the window."""
    branch = link.branch
    # Counted from midnight at the office, so that two polls of one day get the same bytes.
    today = branch.at(branch.today(now), time(0))
    audience = f"crew:{link.crew_id}" if link.crew_id else f"branch:{branch.pk}"
    over = Q(status=EntryStatus.CANCELLED, end__lt=today, changed_at__lt=today - CANCELLED_STAYS)
    entries = (
        CalendarEntry.objects.filter(
            audience=audience, end__gte=today - BACK, start__lt=today + AHEAD
        )
        .exclude(over)
        .order_by("start", "uid")
    )
    return calendars.feed(
        name=feed_name(link), zone=branch.zone, visits=[work_visit(entry) for entry in entries]
    )


def replaced(link: Link, *, now: datetime) -> bytes | None:
    """What a revoked link says for a month; None when it says nothing any more."""
    if link.revoked_at is None or now - link.revoked_at >= REPLACED_SAYS_SO:
        return None
    return calendars.replaced_feed(
        name=feed_name(link),
        uid=uuid5(link.seed, "replaced"),
        revoked_at=link.revoked_at,
        day=link.branch.today(link.revoked_at),
        days=REPLACED_SAYS_SO.days,
    )


def visit_of(entry: CalendarEntry, *, url: str = "") -> calendars.Visit:
    """A stored entry as calendars want it."""
    return calendars.Visit(
        uid=entry.uid,
        sequence=entry.sequence,
        status=entry.status,
        start=entry.start,
        end=entry.end,
        zone=entry.zone,
        summary=entry.summary,
        location=entry.location,
        description=entry.description,
        created_at=entry.created_at,
        changed_at=entry.changed_at,
        url=url,
    )


def work_visit(entry: CalendarEntry) -> calendars.Visit:
    """The same with the day sheet behind it, which asks who you are; never the secret link."""
    return visit_of(entry, url=f"{settings.SITE_URL}{reverse('day-sheet', args=[entry.stint_id])}")
