"""Erasing a customer: the person goes, the floors, days and hours that were worked stay."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection
from django.db.models import Q, TextField
from django.db.models.functions import Cast

from dispatch.models import (
    OPEN_STATES,
    Booking,
    BookingState,
    CalendarEntry,
    Link,
    Notice,
    NoticeState,
    Proposal,
    ReadyAnswer,
    Stint,
)
from jobs import audit
from jobs.access import Actor
from jobs.models import (
    ActorKind,
    AuditEvent,
    Branch,
    Customer,
    Job,
    JobState,
    Question,
    Site,
)
from jobs.refusals import NotFound, Refusal
from jobs.rules.clock import say_day
from jobs.writing import run_write

ERASED = "(erased)"
SHORTEST = 4  # letters of a text that is looked for in the record; "Ann" would be found anywhere


class StillBound(Refusal):
    """A booking or a promise to the customer still stands."""

    code = "still_bound"
    status = 409


@dataclass(frozen=True)
class Erased:
    """What became of a customer: the name that is left, and how much stayed without the person."""

    name: str
    sites: int
    jobs: int
    bookings: int


@run_write
def erase_customer(*, branch: Branch, customer_id: int, by: Actor, now: datetime) -> Erased:
    """Take everything that names a customer out of the books of a branch.

    Floors, systems, days, prices, stages and the record of changes stay. Raises StillBound
    while a booking is open or a floor waits for its drive-on. A backup keeps the person until
    it is thrown away.
    """
    customer = _locked(branch, customer_id)
    _refuse_bound(customer, now=now)
    sites = list(Site.objects.filter(customer=customer).select_related("place"))
    jobs = list(Job.objects.filter(customer=customer))
    bookings = list(Booking.objects.filter(job__in=jobs))
    told = _texts(customer, sites, jobs)
    _erase_rows(customer, sites, jobs, now=now)
    _erase_letters(bookings, now=now)
    _erase_answers(jobs, bookings)
    _erase_record(branch, told, customer=customer, sites=sites, jobs=jobs, bookings=bookings)
    left = Erased(customer.name, len(sites), len(jobs), len(bookings))
    audit.record(
        branch=branch,
        by=by,
        subject="customer",
        subject_id=customer.pk,
        action="erase",
        now=now,
        after={"sites": left.sites, "jobs": left.jobs, "bookings": left.bookings},
    )
    return left


def _locked(branch: Branch, customer_id: int) -> Customer:
    wanted = Customer.objects.of_branch(branch).filter(pk=customer_id)
    if connection.features.has_select_for_update:
        wanted = wanted.select_for_update(no_key=True)
    customer: Customer | None = wanted.first()
    if customer is None:
        raise NotFound("There is no such customer in this branch.")
    return customer


def _refuse_bound(customer: Customer, *, now: datetime) -> None:
    bound = Booking.objects.filter(job__customer=customer).filter(
        Q(state__in=OPEN_STATES) | Q(state=BookingState.DONE, drive_on_at__gt=now)
    )
    booking = bound.select_related("branch").first()
    if booking is None:
        return
    if booking.state == BookingState.DONE:
        raise StillBound(f"{customer} cannot drive on the floor yet. Please erase them after that.")
    stint = booking.stints.order_by("number").first()
    on = f" on {say_day(stint.start.astimezone(booking.branch.tz).date())}" if stint else ""
    raise StillBound(f"{customer} has a booking{on}. Please call it off first.")


def _texts(customer: Customer, sites: Iterable[Site], jobs: Iterable[Job]) -> list[str]:
    """Everything by which the person could be known, the longest first."""
    said = {customer.name, customer.email, customer.telephone, customer.notes}
    for site in sites:
        said |= {site.street, site.contact, site.access}
    said |= {job.notes for job in jobs}
    return sorted((text for text in said if len(text) >= SHORTEST), key=len, reverse=True)


def _erase_rows(
    customer: Customer, sites: Iterable[Site], jobs: Iterable[Job], *, now: datetime
) -> None:
    customer.name = f"Erased customer {customer.pk}"
    customer.email = customer.telephone = customer.notes = ""
    customer.save()
    for site in sites:
        site.street, site.postal_code = ERASED, ""
        site.contact = site.access = site.power = ""
        # The place, some hundred meters wide, is kept for what the weather taught.
        site.latitude, site.longitude = float(site.place.latitude), float(site.place.longitude)
        site.save()
    for job in jobs:
        job.notes = ""
        if job.state == JobState.WAITING:
            job.state = JobState.CALLED_OFF
        job.version += 1
        job.save()


def _erase_letters(bookings: Iterable[Booking], *, now: datetime) -> None:
    """Mails, links and calendar entries of the bookings; mails that wait never go out."""
    notices = Notice.objects.filter(booking__in=bookings)
    waiting = (NoticeState.PENDING, NoticeState.HELD, NoticeState.SENDING)
    notices.filter(state__in=waiting).update(state=NoticeState.OBSOLETE)
    notices.filter(audience="customer").update(to="")
    notices.update(facts={}, subject="", text="", last_error="")
    links = Link.objects.filter(booking__in=bookings)
    links.update(name=ERASED)
    links.filter(revoked_at__isnull=True).update(revoked_at=now)
    CalendarEntry.objects.filter(stint__booking__in=bookings).update(
        summary=ERASED, location="", description="", changed_at=now
    )
    Booking.objects.filter(pk__in=[each.pk for each in bookings]).exclude(called_off_why="").update(
        called_off_why=ERASED
    )


def _erase_answers(jobs: Iterable[Job], bookings: Iterable[Booking]) -> None:
    """What was answered, in whose words: that it was answered, and how, stays."""
    proposals = Proposal.objects.filter(booking__in=bookings)
    proposals.exclude(answered_by="").update(words="", answered_by=ERASED)
    ReadyAnswer.objects.filter(booking__in=bookings).update(words="", by_name=ERASED)
    Question.objects.filter(job__in=jobs).update(answer="")


def _erase_record(
    branch: Branch,
    told: list[str],
    *,
    customer: Customer,
    sites: Iterable[Site],
    jobs: Iterable[Job],
    bookings: Iterable[Booking],
) -> None:
    """The one place that changes what is on record: names and words go, values stay."""
    stints = Stint.objects.filter(booking__in=bookings).values_list("pk", flat=True)
    proposals = Proposal.objects.filter(booking__in=bookings).values_list("pk", flat=True)
    floors = {floor for site in sites for floor in site.floors.values_list("pk", flat=True)}
    theirs = (
        Q(subject="customer", subject_id=customer.pk)
        | Q(subject="site", subject_id__in=[each.pk for each in sites])
        | Q(subject="floor", subject_id__in=floors)
        | Q(subject="job", subject_id__in=[each.pk for each in jobs])
        | Q(subject="booking", subject_id__in=[each.pk for each in bookings])
        | Q(subject="stint", subject_id__in=list(stints))
        | Q(subject="proposal", subject_id__in=list(proposals))
        | Q(subject="ready", subject_id__in=[each.pk for each in bookings])
        | Q(subject="question", subject_id__in=[each.pk for each in jobs])
    )
    events = AuditEvent.objects.of_branch(branch).annotate(
        was=Cast("before", TextField()), is_now=Cast("after", TextField())
    )
    for text in told:  # also where it stands in the record of something else
        theirs |= Q(was__icontains=text) | Q(is_now__icontains=text) | Q(why__icontains=text)
    for event in events.filter(theirs):
        event.before, event.after = _without(event.before, told), _without(event.after, told)
        if event.why and event.actor_kind != ActorKind.SYSTEM:
            event.why = ERASED  # what somebody typed may say anything
        if event.actor_kind == ActorKind.CUSTOMER:
            event.actor_name = "The customer"
        event.save(update_fields=["before", "after", "why", "actor_name"])


def _without(value: Any, told: list[str]) -> Any:
    """A value of the record with the person's texts replaced, however deep they stand."""
    if isinstance(value, str):
        return ERASED if any(text.casefold() in value.casefold() for text in told) else value
    if isinstance(value, list):
        return [_without(each, told) for each in value]
    if isinstance(value, dict):
        return {key: _without(each, told) for key, each in value.items()}
    return value
