"""What is kept only so long: repeats of requests, old sessions and, by setting, customers.

The record of bookings stays; a customer whose floors are long done goes as if they had asked.
"""

from datetime import datetime, timedelta

from django.conf import settings
from django.contrib.sessions.models import Session
from django.db.models import Max, Q

from dispatch.models import OPEN_STATES
from dispatch.services.privacy import erase_customer
from jobs.access import PROGRAM
from jobs.models import AuditEvent, Customer, IdempotencyKey, JobState
from jobs.refusals import Refusal
from jobs.writing import run_write
from weather.models import Chore

EVERY = timedelta(days=1)
REPEATS_KEPT = timedelta(days=90)
YEAR = timedelta(days=365.25)
MOST_AT_ONCE = 100  # each is a transaction of its own; the rest goes the next day


def sweep(*, now: datetime) -> int:
    """Once a day, drop what was kept long enough; return how many customers were erased."""
    if not Chore.claim("drop what is old", every=EVERY, now=now):
        return 0
    _drop_rows(now=now)
    return _erase_old_customers(now=now)


@run_write
def _drop_rows(*, now: datetime) -> None:
    IdempotencyKey.objects.filter(created_at__lt=now - REPEATS_KEPT).delete()
    Session.objects.filter(expire_date__lt=now).delete()


def _erase_old_customers(*, now: datetime) -> int:
    """Customers without anything open whose last floor is older than the setting says."""
    years = settings.KEEP_CUSTOMERS_YEARS
    if not years:
        return 0
    before, erased = now - years * YEAR, 0
    for customer in _old(before):
        try:
            erase_customer(branch=customer.branch, customer_id=customer.pk, by=PROGRAM, now=now)
        except Refusal:
            continue  # something of theirs stands after all
        erased += 1
    return erased


def _old(before: datetime) -> list[Customer]:
    gone = AuditEvent.objects.filter(subject="customer", action="erase").values("subject_id")
    open_job = Q(jobs__state__in=(JobState.WAITING, JobState.BOOKED))
    found = (
        Customer.objects.exclude(pk__in=gone)
        .exclude(open_job)
        .exclude(jobs__bookings__state__in=OPEN_STATES)
        .annotate(last_order=Max("jobs__created_at"), last_day=Max("jobs__bookings__drive_on_at"))
        .filter(last_order__lt=before)
        .filter(Q(last_day__isnull=True) | Q(last_day__lt=before))
    )
    return list(found.select_related("branch").order_by("pk")[:MOST_AT_ONCE])
