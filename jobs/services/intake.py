"""Taking in orders: customer, site, floors and job exist exactly if the order does."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import connection

from jobs import audit, idempotency
from jobs.access import Actor
from jobs.models import Branch, Customer, Floor, Job, Site
from jobs.models.orders import CoatingSystem
from jobs.refusals import Invalid
from jobs.rules.new_jobs import NewFloor, NewJob
from jobs.rules.pricing import PriceList, job_price
from jobs.services.addresses import AddressBook
from jobs.services.checking import CheckedJob, Desk
from jobs.writing import run_write

__all__ = ["Invalid", "NewFloor", "NewJob", "problems_of", "remarks_on", "take_in", "take_in_all"]


def problems_of(*, branch: Branch, new: NewJob, now: datetime) -> dict[str, str]:
    """A sentence for every field that stands in the way; nothing if it can be taken in."""
    try:
        Desk.of(branch, now=now).check(new)
    except Invalid as refusal:
        return refusal.problems
    return {}


def remarks_on(*, branch: Branch, new: NewJob, now: datetime) -> tuple[str, ...]:
    """What taking in would assume, in sentences for the person who typed."""
    return Desk.of(branch, now=now).check(new).remarks


@run_write
def take_in(*, branch: Branch, new: NewJob, by: Actor, now: datetime, key: str = "") -> Job:
    """A waiting job for what was typed; a repeat with the same `key` gets the same job.

    A customer with the same e-mail, or the same name and telephone, is the same customer,
    and the same address of theirs the same site. Raises Invalid with every problem.
    """
    lock(branch)
    what = ("take in", branch.pk, new)
    answered = idempotency.answered(by=by, key=key, what=what)
    if answered is not None:
        job: Job = Job.objects.of_branch(branch).get(pk=answered)
        return job
    checked = Desk.of(branch, now=now).check(new)
    (job,) = write(branch, [checked], by=by, now=now)
    idempotency.keep(by=by, key=key, what=what, subject="job", subject_id=job.pk, now=now)
    return job


@run_write
def take_in_all(*, branch: Branch, new: Sequence[NewJob], by: Actor, now: datetime) -> list[Job]:
    """Waiting jobs for many orders at once, in their order, or none of them. Raises Invalid."""
    lock(branch)
    desk = Desk.of(branch, now=now)
    return write(branch, [desk.check(each) for each in new], by=by, now=now)


def lock(branch: Branch) -> None:
    """Let one order of a branch be written at a time, so that a customer is not made twice.

    On SQLite the transaction itself holds the one write lock.
    """
    if connection.features.has_select_for_update:
        Branch.objects.select_for_update(no_key=True).get(pk=branch.pk)


def write(branch: Branch, orders: Sequence[CheckedJob], *, by: Actor, now: datetime) -> list[Job]:
    """Rows for checked orders, in their order, in a number of queries that hardly grows."""
    book = AddressBook.for_orders(branch, orders)
    sites = [book.site_of(order) for order in orders]
    book.save(by=by, now=now)
    floors = [
        [_floor(floor, site) for floor in order.new.floors]
        for order, site in zip(orders, sites, strict=True)
    ]
    Floor.objects.bulk_create([floor for each in floors for floor in each])
    jobs = [
        _job(branch, order, site=site, floors=each, now=now)
        for order, site, each in zip(orders, sites, floors, strict=True)
    ]
    Job.objects.bulk_create(jobs)
    through: Any = Job.floors.through
    through.objects.bulk_create(
        through(job_id=job.pk, floor_id=floor.pk)
        for job, each in zip(jobs, floors, strict=True)
        for floor in each
    )
    audit.record_all(
        audit.event(
            branch=branch,
            by=by,
            subject="job",
            subject_id=job.pk,
            action="take in",
            now=now,
            after=_snapshot(job, order),
        )
        for job, order in zip(jobs, orders, strict=True)
    )
    return jobs


def _floor(new: NewFloor, site: Site) -> Floor:
    return Floor(
        site=site,
        name=new.name,
        exposure=new.exposure,
        area_m2=new.area_m2 or 0.0,  # an order without an area never gets here
        edge_m=new.edge_or_estimate_m,
        crack_m=new.crack_m,
        stem_wall_m=new.stem_wall_m,
        steps=new.steps,
        spalls=new.spalls,
        condition=new.condition,
        poured_on=new.poured_on,
        bays=new.bays,
        porous=new.porous,
        other_water=list(new.other_water),
    )


def _job(
    branch: Branch, order: CheckedJob, *, site: Site, floors: Sequence[Floor], now: datetime
) -> Job:
    new = order.new
    customer: Customer = site.customer
    return Job(
        branch=branch,
        customer=customer,
        site=site,
        system=order.system,
        day_wish=new.day_wish,
        wished_day=new.wished_day,
        impossible_days=[day.isoformat() for day in new.impossible_days],
        car_needed_by=order.car_needed_by,
        can_come_soon=new.can_come_soon,
        color=new.color,
        notes=new.notes,
        price=_price(order.system, floors),
        created_at=now,
    )


def _price(system: CoatingSystem, floors: Sequence[Floor]) -> Decimal:
    prices = PriceList(per_m2=system.price_per_m2, least=system.smallest_price)
    return job_price([(floor.work, prices) for floor in floors]).total


def _snapshot(job: Job, order: CheckedJob) -> dict[str, Any]:
    """The order as the audit keeps it."""
    return {
        "customer": job.customer_id,
        "site": job.site_id,
        "system": job.system_id,
        "floors": [
            {"name": floor.name, "exposure": floor.exposure, "area_m2": floor.area_m2}
            for floor in order.new.floors
        ],
        "day_wish": job.day_wish,
        "wished_day": job.wished_day.isoformat() if job.wished_day else None,
        "impossible_days": job.impossible_days,
        "car_needed_by": job.car_needed_by.isoformat() if job.car_needed_by else None,
        "price": str(job.price),
        "assumed": list(order.remarks),
    }
