"""Taking in the demo's orders the way the office would, on the days they came in."""

from collections.abc import Sequence
from datetime import datetime, time, timedelta

from dispatch.demo.orders import Order, Surface
from dispatch.demo.staff import Staffed
from jobs.models import AuditEvent, DayWish, FloorPart, Job, Question
from jobs.rules.must_know import Standing, Topic
from jobs.rules.new_jobs import NewFloor, NewJob
from jobs.rules.units import m2_from_ft2, m_from_ft
from jobs.services.checking import CheckedJob, Desk
from jobs.services.intake import lock, write
from jobs.writing import run_write
from weather.rules.exposures import Exposure

SAID = {
    Topic.POWER: "20 A socket beside the panel, 30 ft from the floor.",
    Topic.ACCESS: "9 ft wide, no stairs.",
    Topic.PARKING: "In the drive.",
    Topic.PERMIT: "None, the street allows a trailer by day.",
    Topic.CONCRETE_AGE: "Older than the house's last owner, 12 years at least.",
    Topic.MOISTURE: "In-slab probe read by us, 68 %, within the sheet.",
}


def taken_in(
    orders: Sequence[Order], *, at: Staffed, now: datetime, asked: bool = True
) -> list[Job]:
    """The orders as waiting jobs, in their order, each taken in so many days before `now`.

    They are checked and written together, as a backlog is, and their dates are set afterwards:
    the same rows as one by one, in a fraction of the time. `asked` says that all was asked that
    must be known before a day is confirmed.
    """
    desk = Desk.of(at.branch, now=now)
    checked = [desk.check(_typed(order, at=at, now=now)) for order in orders]
    jobs = _written(checked, at=at, now=now)
    for order, job in zip(orders, jobs, strict=True):
        came = now - timedelta(days=order.waited)
        Job.objects.filter(pk=job.pk).update(created_at=came)
        AuditEvent.objects.filter(subject="job", subject_id=job.pk).update(at=came)
        aprons = {surface.name for surface in order.floors if surface.apron}
        for floor in job.floors.filter(name__in=aprons) if aprons else ():
            FloorPart.objects.create(floor=floor, name="apron", exposure=Exposure.APRON)
    if asked:
        _asked(jobs, at=at, now=now)
    # Read whole: the search for days asks for floors and parts hundreds of times.
    whole = Job.objects.with_floors().select_related("branch__depot_place")
    rows: dict[int, Job] = whole.in_bulk([job.pk for job in jobs])
    return [rows[job.pk] for job in jobs]


@run_write
def _written(checked: Sequence[CheckedJob], *, at: Staffed, now: datetime) -> list[Job]:
    lock(at.branch)
    return write(at.branch, checked, by=at.by, now=now)


def _asked(jobs: Sequence[Job], *, at: Staffed, now: datetime) -> None:
    Question.objects.bulk_create(
        Question(
            job=job,
            topic=topic,
            standing=Standing.KNOWN,
            answer=SAID[topic],
            by_name=at.by.name,
            user=at.by.user,
            at=now,
        )
        for job in jobs
        for topic in job.missing(today=at.branch.today(now))
    )


def _typed(order: Order, *, at: Staffed, now: datetime) -> NewJob:
    today = at.branch.today(now)
    wished = None
    if order.wish != DayWish.ANY:
        wished = at.worked_from(today + timedelta(days=order.wish_in))
    car = None
    if order.car_in is not None:
        days, hour = order.car_in
        car = datetime.combine(today + timedelta(days=days), time(hour))
    words = "".join(each if each.isalnum() else " " for each in order.who.lower()).split()
    return NewJob(
        customer_name=order.who,
        street=order.street,
        postal_code=order.postal_code,
        system_id=at.systems[order.system].pk,
        floors=tuple(_floor(surface) for surface in order.floors),
        email=f"{'.'.join(words)}@example.com",
        telephone=next(at.telephones),
        access=order.access,
        power=order.power,
        only_way_in=order.only_way_in,
        day_wish=order.wish,
        wished_day=wished,
        impossible_days=tuple(today + timedelta(days=each) for each in order.not_in),
        car_needed_by=car,
        can_come_soon=order.soon,
        color=order.color,
        notes=order.notes,
    )


def _floor(surface: Surface) -> NewFloor:
    return NewFloor(
        exposure=surface.exposure.value,
        area_m2=m2_from_ft2(surface.area_ft2),
        name=surface.name,
        edge_m=None if surface.edge_ft is None else m_from_ft(surface.edge_ft),
        crack_m=m_from_ft(surface.crack_ft),
        stem_wall_m=m_from_ft(surface.stem_ft),
        steps=surface.steps,
        spalls=surface.spalls,
        condition=surface.condition,
    )
