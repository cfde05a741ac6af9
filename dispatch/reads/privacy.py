"""What is stored of one customer, as they may ask to have it."""

from datetime import datetime
from typing import Any

from django.forms.models import model_to_dict

from dispatch.models import Booking, Link, Notice, Stint
from jobs.models import AuditEvent, Customer, Floor, Job, Site


def everything_of(customer: Customer, *, now: datetime) -> dict[str, Any]:
    """Every row that is about the customer, as plain values for JSON."""
    sites = Site.objects.filter(customer=customer).order_by("pk")
    jobs = Job.objects.filter(customer=customer).order_by("pk")
    bookings = Booking.objects.filter(job__in=jobs).order_by("pk")
    events = AuditEvent.objects.filter(subject="booking", subject_id__in=bookings.values("pk"))
    return {
        "as_of": now.isoformat(),
        "branch": customer.branch.company,
        "customer": _plain(customer),
        "sites": [_plain(each) for each in sites],
        "floors": [_plain(each) for each in Floor.objects.filter(site__in=sites).order_by("pk")],
        "orders": [_plain(each) for each in jobs],
        "bookings": [_plain(each) for each in bookings],
        "days": [
            _plain(each, leave_out=("stages", "machines", "installers"))
            for each in Stint.objects.filter(booking__in=bookings).order_by("pk")
        ],
        "mails": [
            _plain(each)
            for each in Notice.objects.filter(booking__in=bookings, audience="customer")
        ],
        "links": [
            {"purpose": link.purpose, "made": link.created_at, "last_read": link.last_read_at}
            for link in Link.objects.filter(booking__in=bookings).order_by("pk")
        ],
        "changes": [
            {"at": event.at, "by": event.actor_name, "what": event.action, "why": event.why}
            for event in events.order_by("pk")
        ],
    }


def _plain(row: Any, *, leave_out: tuple[str, ...] = ()) -> dict[str, Any]:
    values = model_to_dict(row, exclude=leave_out)
    if "floors" in values:
        values["floors"] = [floor.pk for floor in values["floors"]]
    return values
