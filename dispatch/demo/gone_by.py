"""Floors that were coated in the last two weeks, written straight: no service books the past."""

from datetime import datetime, time, timedelta

from django.db import transaction

from dispatch.demo.orders import Done
from dispatch.demo.staff import Staffed
from dispatch.models import (
    Booking,
    BookingState,
    CrewMembership,
    PromiseLevel,
    Stamp,
    StampKind,
    Stint,
    StintState,
)
from dispatch.reads.chain import lay, setting_for
from dispatch.reads.offer import stages_json
from dispatch.services import claims, entries
from jobs import audit
from jobs.models import Job, JobState
from jobs.rules.clock import round_up_quarter
from jobs.rules.plan import Plan

BOOKED_BEFORE = timedelta(days=9)
ROAD_MIN = 20


@transaction.atomic
def coated(done: Done, job: Job, *, at: Staffed, now: datetime) -> Booking:
    """The booking of a floor that was coated, with its stints, claims, calendar and stamps."""
    crew = at.crews[done.crew]
    day = at.worked_before(at.branch.today(now), count=done.days_ago)[-1]
    people = CrewMembership.objects.filter(crew=crew).on(day).select_related("installer__resource")
    installers = [each.installer for each in people]
    start = at.branch.at(day, time(7, 0))
    plan = lay(setting_for(job, now=now), crew_size=len(installers), start=start)
    booking = _booking(job, plan, late_min=done.minutes_late)
    stint = Stint.objects.create(
        booking=booking,
        crew=crew,
        start=plan.start,
        end=plan.end,
        travel_before_min=ROAD_MIN,
        travel_after_min=ROAD_MIN,
        state=StintState.DONE,
        stages=list(stages_json(plan.visits[0])),
        pour_at=plan.pour,
        wet_until=plan.rain_safe or plan.top_end,
    )
    grinder = at.grinders[done.crew % len(at.grinders)]
    stint.installers.set(installers)
    stint.machines.set([grinder])
    claims.take(stint, [crew.resource, grinder.resource, *(each.resource for each in installers)])
    entries.follow([stint], now=booking.booked_at)
    _stamp(stint, plan, late_min=done.minutes_late)
    job.state = JobState.DONE
    job.version += 1
    job.save(update_fields=["state", "version"])
    audit.record(
        branch=at.branch,
        by=at.by,
        subject="booking",
        subject_id=booking.pk,
        action="book",
        now=booking.booked_at,
    )
    return booking


def _booking(job: Job, plan: Plan, *, late_min: int) -> Booking:
    booked_at = plan.start - BOOKED_BEFORE
    return Booking.objects.create(
        branch=job.branch,
        job=job,
        state=BookingState.DONE,
        promise=PromiseLevel.CONFIRMED,
        walk_on_at=round_up_quarter(plan.walk_on) if plan.walk_on else None,
        drive_on_at=round_up_quarter(plan.drive_on) if plan.drive_on else None,
        drive_on_basis=plan.drive_on_basis,
        version=1,
        booked_at=booked_at,
        confirmed_at=booked_at,
        done_at=plan.end + timedelta(minutes=late_min),
    )


def _stamp(stint: Stint, plan: Plan, *, late_min: int) -> None:
    """The four moments of the day as they really were: late by the minutes of the arrival."""
    lead = stint.crew.lead
    moments = {
        StampKind.ARRIVED: plan.start,
        StampKind.POURED: plan.pour,
        StampKind.TOPPED: plan.top_end,
        StampKind.LEFT: plan.end,
    }
    for kind, planned in moments.items():
        at = planned + timedelta(minutes=late_min)
        Stamp.objects.create(
            stint=stint, kind=kind, at=at, noted_at=at, noted_by=lead.name if lead else "crew"
        )
