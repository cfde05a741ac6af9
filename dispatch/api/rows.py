"""Rows that the API answers with, always those of one branch."""

from datetime import datetime, timedelta

from django.db.models import Prefetch

from dispatch.models import OPEN_STATES, Booking, Stint, StoredVerdict
from dispatch.models.bookings import StintQuerySet
from jobs.models import Branch, Job
from jobs.refusals import NotFound
from jobs.rules.clock import say_span

# A crew that has other work in these hours after a start cannot coat a floor from it.
A_DAY = timedelta(hours=8)


def floor_of(branch: Branch, pk: int) -> Job:
    """An order of this branch; NotFound for any other."""
    job: Job | None = Job.objects.of_branch(branch).with_floors().filter(pk=pk).first()
    if job is None:
        raise NotFound("There is no such floor in this branch.")
    return job


def booking_of(branch: Branch, pk: int) -> Booking:
    """A booking of this branch with all that is answered of it; NotFound for any other."""
    found: Booking | None = (
        Booking.objects.of_branch(branch)
        .filter(pk=pk)
        .select_related(
            "branch__depot_place",
            "job__branch__depot_place",
            "job__customer",
            "job__site__place",
            "job__system",
        )
        .prefetch_related(
            "job__floors__parts", Prefetch("stints", with_verdicts(Stint.objects.all()))
        )
        .first()
    )
    if found is None:
        raise NotFound("There is no such booking in this branch.")
    return found


def with_verdicts(stints: StintQuerySet) -> StintQuerySet:
    """Stints in order with crew, people, machines and, as `latest_verdicts`, what was said."""
    latest = StoredVerdict.objects.filter(latest=True).select_related("forecast")
    return (
        stints.select_related("crew", "booking__job__customer")
        .prefetch_related(
            "installers", "machines", Prefetch("verdicts", latest, to_attr="latest_verdicts")
        )
        .order_by("start", "pk")
    )


def standing_booking(job: Job) -> Booking | None:
    """The booking that a floor has now, if any."""
    found: Booking | None = job.bookings.filter(state__in=OPEN_STATES).first()
    return found


def said_of(booking: Booking) -> str:
    """Which days a booking has, for a sentence to whoever came later."""
    zone = booking.job.site.tz
    stints = booking.stints.standing().select_related("crew").order_by("number")
    return " and ".join(f"{each.crew}, {say_span(each.start, each.end, zone)}" for each in stints)


def who_has(branch: Branch, *, crew_id: int, start: datetime, but: int | None) -> str:
    """Whose the crew is from `start` on, in a sentence, or an empty string if it is free.

    `but` is the id of a booking that does not count, because it is the one that moves.
    """
    stint: Stint | None = (
        Stint.objects.of_branch(branch)
        .standing()
        .overlapping(start, start + A_DAY)
        .filter(crew_id=crew_id)
        .exclude(booking_id=but)
        .with_all()
        .order_by("start")
        .first()
    )
    if stint is None:
        return ""
    job = stint.booking.job
    span = say_span(stint.start, stint.end, branch.tz)
    return f"{stint.crew} is already booked {span}, for {job.customer} at {job.site.street}."
