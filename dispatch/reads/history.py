"""What happened to a booking and around it: the record, newest first, in sentences."""

from dataclasses import dataclass
from datetime import datetime

from dispatch.models import Booking, Crew
from dispatch.reads.around import events_around, said_of
from dispatch.rules.history import UNDOABLE, last_change, sentence
from jobs.models import AuditEvent


@dataclass(frozen=True)
class Happened:
    """One change: when, and what in one sentence."""

    at: datetime
    text: str


@dataclass(frozen=True)
class History:
    """The record of a booking, newest first, and what of it can be taken back."""

    lines: tuple[Happened, ...]
    undoable: str  # the sentence of the last change, where it can be undone


def history(booking: Booking) -> History:
    """The record of `booking` in sentences, in a fixed number of queries."""
    events = list(
        AuditEvent.objects.filter(subject="booking", subject_id=booking.pk).order_by("-at", "-pk")
    )
    crews = dict(Crew.objects.of_branch(booking.branch).values_list("pk", "name"))
    partners = _partners(booking, events)
    zone = booking.job.site.tz
    said = {
        event.pk: sentence(event, zone=zone, crews=crews, partner=partners.get(event.group, ""))
        for event in events
    }
    last = last_change(events)
    undoable = said[last.pk] if last is not None and last.action in UNDOABLE else ""
    floors = list(booking.job.floors.all())
    names = {floor.pk: floor.name for floor in floors} if len(floors) > 1 else {}
    around = events_around(booking)
    said |= {event.pk: said_of(event, booking, floors=names) for event in around}
    newest_first = sorted([*events, *around], key=lambda event: (event.at, event.pk), reverse=True)
    return History(tuple(Happened(each.at, said[each.pk]) for each in newest_first), undoable)


def _partners(booking: Booking, events: list[AuditEvent]) -> dict[str, str]:
    """For each group of changes the customer on its other side."""
    groups = {event.group for event in events if event.group}
    if not groups:
        return {}
    others = (
        AuditEvent.objects.filter(branch_id=booking.branch_id, subject="booking")
        .filter(group__in=groups)
        .exclude(subject_id=booking.pk)
    )
    with_whom = {event.group: event.subject_id for event in others}
    customers = dict(
        Booking.objects.filter(pk__in=with_whom.values()).values_list("pk", "job__customer__name")
    )
    return {group: customers.get(pk, "") for group, pk in with_whom.items()}
