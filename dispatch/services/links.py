"""Secret links: made, replaced and revoked; each opens one thing for one subscriber."""

from datetime import datetime, timedelta

from django.db import DatabaseError

from dispatch.models import Booking, Crew, Link, LinkPurpose, Machine
from dispatch.models.links import derive_token
from jobs import audit
from jobs.access import PROGRAM, Actor
from jobs.models import Branch
from jobs.models.programs import digest
from jobs.refusals import Refusal
from jobs.writing import run_write

CUSTOMER_READS_FOR = timedelta(days=60)  # after drive-on
PHONE_LASTS = timedelta(days=90)
# The time of the last reading is for people, so it need not be written at every poll.
NOTE_EVERY = timedelta(minutes=5)


class WrongLink(Refusal):
    """A link was asked for that would open nothing."""

    code = "wrong_link"
    status = 422


def make_link(
    *,
    branch: Branch,
    purpose: LinkPurpose,
    name: str,
    by: Actor,
    now: datetime,
    crew: Crew | None = None,
    machine: Machine | None = None,
    booking: Booking | None = None,
) -> Link:
    """A new secret link for one subscriber or device, called `name` so that it can be found.

    A customer's link needs a booking, a phone's a crew; a feed without crew and machine
    shows the whole branch.
    """
    return _make_alone(
        branch=branch,
        purpose=purpose,
        name=name,
        by=by,
        now=now,
        crew=crew,
        machine=machine,
        booking=booking,
    )


@run_write
def rotate(link: Link, *, by: Actor, now: datetime) -> Link:
    """A new link in place of `link`, which stops at once."""
    _revoke(link, by=by, now=now)
    return _make(
        branch=link.branch,
        purpose=LinkPurpose(link.purpose),
        name=link.name,
        by=by,
        now=now,
        crew=link.crew,
        machine=link.machine,
        booking=link.booking,
    )


@run_write
def revoke(link: Link, *, by: Actor, now: datetime) -> Link:
    """Stop a link for good."""
    return _revoke(link, by=by, now=now)


def for_booking(booking: Booking, *, now: datetime) -> Link:
    """The customer's link to a booking, made if there is none, valid until the promise is old."""
    until = _customer_until(booking, now=now)
    link: Link
    for link in Link.objects.live(now).filter(booking=booking, purpose=LinkPurpose.CUSTOMER):
        if not link.is_readable:
            continue
        if link.expires_at is None or link.expires_at < until:
            Link.objects.filter(pk=link.pk).update(expires_at=until)
        return link
    name = booking.job.customer.name
    return make_link(
        branch=booking.branch,
        purpose=LinkPurpose.CUSTOMER,
        name=name,
        by=PROGRAM,
        now=now,
        booking=booking,
    )


def address(link: Link) -> str:
    """The whole secret address of a link; empty where it cannot be shown any more."""
    return link.address


def note_read(link: Link, *, now: datetime) -> None:
    """Remember that somebody read the link; what they read does not depend on it."""
    if link.last_read_at and now - link.last_read_at < NOTE_EVERY:
        return
    try:
        Link.objects.filter(pk=link.pk).update(last_read_at=now)
    except DatabaseError:
        return  # a busy database must not cost the reader their page


def _make(
    *,
    branch: Branch,
    purpose: LinkPurpose,
    name: str,
    by: Actor,
    now: datetime,
    crew: Crew | None,
    machine: Machine | None,
    booking: Booking | None,
) -> Link:
    if (purpose == LinkPurpose.CUSTOMER) != (booking is not None):
        raise WrongLink("A customer's link, and no other, opens a booking.")
    if purpose == LinkPurpose.PHONE and crew is None:
        raise WrongLink("A phone's link needs a crew.")
    if machine is not None and (purpose != LinkPurpose.FEED or crew is not None):
        raise WrongLink("A machine has a calendar, and nothing else, to open.")
    link = Link(
        branch=branch,
        purpose=purpose,
        name=name[:80] or "Link",
        crew=crew,
        machine=machine,
        booking=booking,
        created_at=now,
        expires_at=_expiry(purpose, booking, now=now),
    )
    link.digest = digest(derive_token(str(purpose), link.seed))
    link.save()
    _note(link, action="make link", by=by, now=now)
    return link


_make_alone = run_write(_make)


def _revoke(link: Link, *, by: Actor, now: datetime) -> Link:
    stopped = Link.objects.filter(pk=link.pk, revoked_at__isnull=True).update(revoked_at=now)
    if stopped:
        link.revoked_at = now
        _note(link, action="revoke link", by=by, now=now)
    return link


def _expiry(purpose: LinkPurpose, booking: Booking | None, *, now: datetime) -> datetime | None:
    if booking is not None:
        return _customer_until(booking, now=now)
    return now + PHONE_LASTS if purpose == LinkPurpose.PHONE else None


def _customer_until(booking: Booking, *, now: datetime) -> datetime:
    last = booking.stints.order_by("-end").values_list("end", flat=True).first()
    return max(booking.drive_on_at or now, last or now, now) + CUSTOMER_READS_FOR


def _note(link: Link, *, action: str, by: Actor, now: datetime) -> None:
    audit.record(
        branch=link.branch,
        by=by,
        subject="link",
        subject_id=link.pk,
        action=action,
        now=now,
        after={"purpose": str(link.purpose), "name": link.name},
    )
