"""Feeds: what a calendar of a crew, a machine or a branch shows, from stored entries alone."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from uuid import uuid5
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import models
from django.db.models import Max, Q
from django.urls import reverse

from dispatch import calendars
from dispatch.models import CalendarEntry, EntryStatus, Link
from jobs.rules.clock import say_moment

BACK = timedelta(days=60)
AHEAD = timedelta(days=400)
# Whoever looks at a calendar once a fortnight must still see what is not on any more.
CANCELLED_STAYS = timedelta(days=14)
REPLACED_SAYS_SO = timedelta(days=30)


@dataclass(frozen=True)
class Told:
    """What a feed says: `tag` changes with the bytes, and only `write` makes a calendar."""

    name: str
    tag: str
    changed_at: datetime
    write: Callable[[], bytes]


def feed_name(link: Link) -> str:
    """What the calendar is called on the subscriber's phone."""
    return f"{link.crew or link.machine or link.branch}, {link.branch.company}"


def audience_of(link: Link) -> str:
    """Whose entries a feed shows: of one crew, of one machine, or of the whole branch."""
    if link.crew_id:
        return f"crew:{link.crew_id}"
    return f"machine:{link.machine_id}" if link.machine_id else f"branch:{link.branch_id}"


def told(link: Link, *, now: datetime) -> Told | None:
    """What a link says at `now`; None where it was revoked so long ago that it is gone."""
    if link.revoked_at is not None:
        return _replaced(link, link.revoked_at, now=now)
    # Counted from midnight at the office, so that two polls of one day get the same bytes.
    today = link.branch.at(link.branch.today(now), time(0))
    entries = _entries(link, today)
    stamps = [str(stamp) for stamp in entries.values_list("uid", "sequence", "changed_at")]
    # Also what left the window or was hidden counts as a change, as does the window itself.
    last = CalendarEntry.objects.filter(audience=audience_of(link)).aggregate(at=Max("changed_at"))
    return Told(
        name=feed_name(link),
        tag=_tag(feed_name(link), link.branch.zone, settings.SITE_URL, *stamps),
        changed_at=max(today, link.created_at, last["at"] or today),
        write=lambda: crew_feed(link, now=now),
    )


def crew_feed(link: Link, *, now: datetime) -> bytes:
    """The bytes of a live link's feed, made anew."""
    today = link.branch.at(link.branch.today(now), time(0))
    return calendars.feed(
        name=feed_name(link),
        zone=link.branch.zone,
        visits=[work_visit(entry) for entry in _entries(link, today)],
    )


def _entries(link: Link, today: datetime) -> models.QuerySet[CalendarEntry]:
    over = Q(status=EntryStatus.CANCELLED, end__lt=today, changed_at__lt=today - CANCELLED_STAYS)
    return (
        CalendarEntry.objects.filter(
            audience=audience_of(link), end__gte=today - BACK, start__lt=today + AHEAD
        )
        .exclude(over)
        .order_by("start", "uid")
    )


def _replaced(link: Link, revoked_at: datetime, *, now: datetime) -> Told | None:
    """What a revoked link says for a month."""
    if now - revoked_at >= REPLACED_SAYS_SO:
        return None
    return Told(
        name=feed_name(link),
        tag=_tag("replaced", feed_name(link), str(revoked_at)),
        changed_at=revoked_at,
        write=lambda: calendars.replaced_feed(
            name=feed_name(link),
            uid=uuid5(link.seed, "replaced"),
            revoked_at=revoked_at,
            day=link.branch.today(revoked_at),
            days=REPLACED_SAYS_SO.days,
        ),
    )


def _tag(*of: str) -> str:
    """A digest of what the bytes are made of, the program that makes them included."""
    return hashlib.sha256("\n".join((calendars.FORM, *of)).encode()).hexdigest()[:32]


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
    """The same with the day sheet behind it, which asks who you are; never the secret link.

    A calendar may be a day behind, so its text says of when it is and where the sheet is.
    """
    sheet = f"{settings.SITE_URL}{reverse('day-sheet', args=[entry.stint_id])}"
    as_of = say_moment(entry.changed_at, ZoneInfo(entry.zone))
    visit = visit_of(entry, url=sheet)
    said = f"{entry.description}\nWritten {as_of}. The live sheet: {sheet}"
    return replace(visit, description=said.lstrip())
