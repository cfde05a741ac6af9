"""Handing over: a crew gives a machine to the next crew before its own day is over."""

from dataclasses import replace
from datetime import datetime, timedelta

from dispatch.models import Booking
from dispatch.rules.asking import MachineSpan, PlannedStint
from dispatch.rules.kept import planned_stints
from dispatch.services.changing import CannotChange, finish, open_booking, refuse_begun, snapshot
from dispatch.services.placing import place
from jobs.access import Actor
from jobs.models import Branch
from jobs.writing import run_write


@run_write
def hand_over(
    *,
    branch: Branch,
    booking_id: int,
    version: int,
    machine_id: int,
    until: datetime,
    by: Actor,
    now: datetime,
    travel_after_min: int = 0,
    why: str = "",
) -> Booking:
    """Keep a machine on a booking's stint until `until` only, and on the road after that.

    Nothing else of the booking changes, and no customer is told; `why` says who drives it over.
    Raises CannotChange where
    the machine is not booked at that hour.
    """
    booking = open_booking(branch, booking_id, version)
    refuse_begun(booking, now=now)
    before = snapshot(booking)
    stints = list(planned_stints(before))
    for number, stint in enumerate(stints):
        if machine_id in stint.machine_ids and stint.start < until < stint.end:
            stints[number] = _until(stint, machine_id, until, travel_after_min)
            break
    else:
        raise CannotChange(f"That machine is not booked for {booking.job.customer} at that hour.")
    place(booking, stints)
    finish(booking, booking.job, action="hand over", before=before, by=by, why=why, now=now)
    return booking


def _until(
    stint: PlannedStint, machine_id: int, until: datetime, travel_after_min: int
) -> PlannedStint:
    """The stint with its machine until `until`, from when it came: perhaps from another floor."""
    start = stint.start - timedelta(minutes=stint.travel_before_min)
    others = []
    for span in stint.machine_spans:
        if span.machine_id == machine_id:
            start = span.start
        else:
            others.append(span)
    return replace(
        stint, machine_spans=(*others, MachineSpan(machine_id, start, until, travel_after_min))
    )
