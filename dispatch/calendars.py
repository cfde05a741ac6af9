"""Calendars as bytes: feeds, single files and invitations. The only door to icalendar.

The same events give the same bytes, always: nothing here asks the clock, and every stamp is
a stored one. Clause numbers are those of RFC 5545 unless another RFC is named.
"""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from uuid import UUID
from zoneinfo import ZoneInfo

from icalendar import (
    Calendar,
    Event,
    Timezone,
    TimezoneDaylight,
    TimezoneStandard,
    vCalAddress,
)
from icalendar import __version__ as library

from dispatch.rules.plain_text import clean, one_line
from dispatch.rules.time_zones import EARLIEST_YEAR, Observance, is_twice, observances

PRODID = "-//Slabcast//Slabcast 1//EN"
REFRESH = timedelta(hours=1)
CANCELLED = "CANCELLED"
Zones = dict[str, tuple[int, int]]
# A summary may be cut at 255 octets by a reader (section 5, item 4).
SUMMARY_LETTERS = 60
# Names how bytes are made, so that a feed's tag changes where an upgrade writes it otherwise.
FORM = f"{library} {hashlib.sha256(Path(__file__).read_bytes()).hexdigest()[:16]}"


@dataclass(frozen=True)
class Visit:
    """One event as a subscriber sees it; times are instants, `zone` is the site's."""

    uid: UUID
    sequence: int
    status: str
    start: datetime
    end: datetime
    zone: str
    summary: str
    location: str
    description: str
    created_at: datetime
    changed_at: datetime
    url: str = ""


@dataclass(frozen=True)
class Mailbox:
    """Somebody with an address."""

    name: str
    address: str


def feed(*, name: str, zone: str, visits: Sequence[Visit]) -> bytes:
    """A feed to subscribe to. It has no METHOD: DTSTAMP then says when an event last changed.

    `zone` is the office's; it makes the one component a calendar without events must have
    (section 3.4).
    """
    zones = _zones(visits)
    calendar = _calendar(zones or {zone: (EARLIEST_YEAR, EARLIEST_YEAR)})
    _name(calendar, name)
    for visit in visits:
        calendar.add_component(_event(visit, zones=zones))
    return _bytes(calendar)


def replaced_feed(*, name: str, uid: UUID, revoked_at: datetime, day: date, days: int) -> bytes:
    """What a feed says after its link was replaced: one all-day note and no work at all."""
    calendar = _calendar({})
    _name(calendar, name)
    event = Event()
    event.add("uid", str(uid))
    event.add("dtstamp", revoked_at.astimezone(UTC).replace(microsecond=0))
    event.add("last-modified", revoked_at.astimezone(UTC).replace(microsecond=0))
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=days))  # exclusive (section 3.6.1)
    event.add("sequence", 0)
    event.add("transp", "TRANSPARENT")
    event.add("summary", "This calendar link was replaced, ask the office")
    calendar.add_component(event)
    return _bytes(calendar)


def download(visit: Visit) -> bytes:
    """A file with one event and no METHOD, with the UID that the mails use too."""
    zones = _zones((visit,))
    calendar = _calendar(zones)
    calendar.add_component(_event(visit, zones=zones))
    return _bytes(calendar)


def invitation(
    visit: Visit, *, organizer: Mailbox, attendee: Mailbox, written_at: datetime
) -> tuple[str, bytes]:
    """Method and object for a mail: REQUEST, or CANCEL of a visit that is not on any more.

    With a METHOD, DTSTAMP is when the object was written (section 3.8.7.2). RFC 5546
    sections 3.2.2 and 3.2.5 say which properties each method needs.
    """
    method = "CANCEL" if visit.status == CANCELLED else "REQUEST"
    zones = _zones((visit,))
    calendar = _calendar(zones)
    calendar.add("method", method)
    event = _event(visit, zones=zones, stamp=written_at)
    event.add("organizer", _address(organizer))
    guest = _address(attendee)
    if method == "REQUEST":
        guest.params["PARTSTAT"] = "NEEDS-ACTION"
        guest.params["RSVP"] = "FALSE"  # nobody reads replies; the page takes wishes
    event.add("attendee", guest)
    calendar.add_component(event)
    return method, _bytes(calendar)


def _calendar(zones: Zones) -> Calendar:
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    for zone, years in sorted(zones.items()):
        calendar.add_component(_zone_component(zone, years))
    return calendar


def _bytes(calendar: Calendar) -> bytes:
    return bytes(calendar.to_ical())


def _name(calendar: Calendar, name: str) -> None:
    """Name and pace of a feed, both by RFC 7986 and as programs read them today."""
    calendar.add("name", one_line(name))
    calendar.add("x-wr-calname", one_line(name))
    # RFC 7986 section 5.7 wants the VALUE parameter; without it one reader drops every event.
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT1H")


def _event(visit: Visit, *, zones: Zones, stamp: datetime | None = None) -> Event:
    event = Event()
    changed = visit.changed_at.astimezone(UTC).replace(microsecond=0)
    event.add("uid", str(visit.uid))
    written = stamp.astimezone(UTC).replace(microsecond=0) if stamp else changed
    event.add("dtstamp", written)
    event.add("created", visit.created_at.astimezone(UTC).replace(microsecond=0))
    event.add("last-modified", changed)
    event.add("sequence", visit.sequence)
    event.add("status", visit.status)
    event.add("transp", "TRANSPARENT" if visit.status == CANCELLED else "OPAQUE")
    zone = ZoneInfo(visit.zone) if visit.zone in zones and _tellable(visit) else UTC
    # Both ends in the same form (section 3.8.2.2), converted from instants, never added to.
    event.add("dtstart", visit.start.astimezone(zone).replace(second=0, microsecond=0))
    event.add("dtend", visit.end.astimezone(zone).replace(second=0, microsecond=0))
    event.add("summary", one_line(visit.summary)[:SUMMARY_LETTERS])
    if visit.location:
        event.add("location", one_line(visit.location))
    if visit.description:
        event.add("description", clean(visit.description))
    if visit.url:
        event.add("url", visit.url)
    return event


def _tellable(visit: Visit) -> bool:
    """Whether the times on the wall name these instants, and nothing else (section 3.3.5)."""
    zone = ZoneInfo(visit.zone)
    return not is_twice(visit.start, zone) and not is_twice(visit.end, zone)


def _zones(visits: Iterable[Visit]) -> Zones:
    """The zones that are told as rules, each with the first and last year they must hold in."""
    years: dict[str, set[int]] = {}
    for visit in visits:
        if visit.zone != "UTC" and _tellable(visit):
            years.setdefault(visit.zone, set()).update(
                range(visit.start.year - 1, visit.end.year + 2)
            )
    told = {zone: (min(found), max(found)) for zone, found in years.items()}
    return {zone: span for zone, span in told.items() if _rules(zone, span) is not None}


@lru_cache(maxsize=256)
def _rules(zone: str, span: tuple[int, int]) -> tuple[Observance, ...] | None:
    return observances(ZoneInfo(zone), range(span[0], span[1] + 1))


def _zone_component(zone: str, span: tuple[int, int]) -> Timezone:
    component = Timezone()
    component.add("tzid", zone)
    for told in _rules(zone, span) or ():
        half = TimezoneDaylight() if told.daylight else TimezoneStandard()
        half.add("tzname", told.name)
        half.add("tzoffsetfrom", told.offset_from)
        half.add("tzoffsetto", told.offset_to)
        half.add("dtstart", told.onset)
        if told.yearly:
            day = f"{told.yearly.nth}{told.yearly.weekday}"
            half.add("rrule", {"freq": "yearly", "bymonth": told.yearly.month, "byday": day})
        component.add_component(half)
    return component


def _address(mailbox: Mailbox) -> vCalAddress:
    address = vCalAddress(f"mailto:{one_line(mailbox.address)}")
    # A parameter value cannot hold a double quote (section 3.2).
    address.params["CN"] = one_line(mailbox.name).replace('"', "'")
    return address
