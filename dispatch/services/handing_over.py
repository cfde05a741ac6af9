"""Handing over: a crew gives a machine to the next crew before its own day is over."""

from dataclasses import replace
from datetime import datetime, timedelta

from dispatch.models import Booking
from dispatch.rules.asking import MachineSpan
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
) -> Booking:
    """Keep a machine on a booking's stint until `until` only, and on the road after that.

    Nothing else of the booking changes, and no customer is told. Raises CannotChange where
    the machine is not booked at that hour.
    """
    booking = open_booking(branch, booking_id, version)
    refuse_begun(booking, now=now)
    before = snapshot(booking)
    stints = list(planned_stints(before))
    for number, stint in enumerate(stints):
        if machine_id in stint.machine_ids and stint.start < until < stint.end:
            others = tuple(each for each in stint.machine_spans if each.machine_id != machine_id)
            start = stint.start - timedelta(minutes=stint.travel_before_min)
            span = MachineSpan(machine_id, start, until, travel_after_min)
            stints[number] = replace(stint, machine_spans=(*others, span))
            break
    else:
        raise CannotChange(f"That machine is not booked for {booking.job.customer} at that hour.")
    place(booking, stints)
    finish(booking, booking.job, action="hand over", before=before, by=by, why="", now=now)
    return booking
