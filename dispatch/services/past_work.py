"""Floors that were coated before the program kept the calendar, entered in bulk.

No service books the past. What is entered here is over: it claims nothing and tells nobody, and
stands in calendars, histories and the files of customers only.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from django.db.models import F, prefetch_related_objects

from dispatch.models import (
    Booking,
    BookingState,
    CalendarEntry,
    Crew,
    Installer,
    Machine,
    PromiseLevel,
    Stamp,
    StampKind,
    Stint,
    StintState,
)
from dispatch.rules.asking import PlannedStint
from dispatch.services import claims, entries
from jobs import audit
from jobs.access import Actor
from jobs.models import Branch, Job, JobState
from jobs.refusals import NotFound, Refusal
from jobs.rules.clock import say_moment
from jobs.writing import run_write

Spans = dict[int, list[tuple[datetime, datetime]]]  # by resource


@dataclass(frozen=True)
class PastWork:
    """One waiting order and the day on which it was coated.

    `stint` names the people who went. `stamps` are the moments that somebody wrote down.
    """

    job: Job
    stint: PlannedStint
    booked_at: datetime
    walk_on_at: datetime | None = None
    drive_on_at: datetime | None = None
    stamps: Mapping[StampKind, datetime] | None = None


@dataclass(frozen=True)
class _Staff:
    """The rows of everybody and everything that some past work names."""

    crews: Mapping[int, Crew]
    people: Mapping[int, Installer]
    machines: Mapping[int, Machine]

    @classmethod
    def of(cls, branch: Branch, work: Sequence[PastWork]) -> "_Staff":
        """Raises NotFound for whoever does not belong to the branch."""
        stints = [each.stint for each in work]
        found = cls(
            Crew.objects.of_branch(branch).in_bulk({stint.crew_id for stint in stints}),
            Installer.objects.of_branch(branch).in_bulk(
                {pk for stint in stints for pk in stint.installer_ids}
            ),
            Machine.objects.of_branch(branch).in_bulk(
                {pk for stint in stints for pk in stint.machine_ids}
            ),
        )
        for stint in stints:
            found.resources(stint)
        return found

    def resources(self, stint: PlannedStint) -> set[int]:
        """Everything that was in one place only."""
        try:
            return {
                self.crews[stint.crew_id].resource_id,
                *(self.people[pk].resource_id for pk in stint.installer_ids),
                *(self.machines[pk].resource_id for pk in stint.machine_ids),
            }
        except KeyError as stranger:
            raise NotFound(
                f"Nobody and nothing in this branch has the number {stranger}."
            ) from None


@run_write
def enter_past(
    *, branch: Branch, work: Sequence[PastWork], by: Actor, now: datetime
) -> list[Booking]:
    """Bookings that are done, with stints, calendar entries, stamps and audit, or none of them.

    In a number of queries that hardly grows with `work`. Raises Refusal for what is not over, for
    an order that does not wait, and for anybody who would have been in two places.
    """
    if not work:
        return []
    staff = _Staff.of(branch, work)
    claims.lock(pk for each in work for pk in staff.resources(each.stint))
    _refuse_unfinished(branch, work, now=now)
    _refuse_not_waiting(branch, work)
    _refuse_twice(branch, work, staff)
    rows = Booking.objects.bulk_create(_booking(branch, each) for each in work)
    stints = Stint.objects.bulk_create(
        _stint(booking, each) for booking, each in zip(rows, work, strict=True)
    )
    _send(stints, work)
    _close(stints, work, by=by)
    audit.record_all(
        audit.event(
            branch=branch,
            by=by,
            subject="booking",
            subject_id=booking.pk,
            action="enter past",
            now=now,
            after={"job": booking.job_id, "start": each.stint.start.isoformat()},
        )
        for booking, each in zip(rows, work, strict=True)
    )
    return rows


def _refuse_unfinished(branch: Branch, work: Sequence[PastWork], *, now: datetime) -> None:
    for each in work:
        if each.stint.end > now:
            until = say_moment(each.stint.end, branch.tz)
            raise Refusal(f"{each.job} ends {until}: only what is over can be entered as done.")


def _refuse_not_waiting(branch: Branch, work: Sequence[PastWork]) -> None:
    waiting = set(
        Job.objects.of_branch(branch)
        .filter(pk__in=[each.job.pk for each in work], state=JobState.WAITING)
        .values_list("pk", flat=True)
    )
    for each in work:
        if each.job.pk not in waiting:
            raise Refusal(f"{each.job} is not waiting for a day in this branch.")
        waiting.remove(each.job.pk)  # nor twice in one list


def _refuse_twice(branch: Branch, work: Sequence[PastWork], staff: _Staff) -> None:
    """Nobody was in two places, neither within `work` nor beside what stands already."""
    busy: Spans = defaultdict(list)
    for each in work:
        span = _away(each.stint)
        for resource_id in staff.resources(each.stint):
            busy[resource_id].append(span)
    for resource_id, span in _known(branch, busy):
        busy[resource_id].append(span)
    for spans in busy.values():
        for (_, until), (since, _) in pairwise(sorted(spans)):
            if since < until:
                at = say_moment(since, branch.tz)
                raise Refusal(f"Somebody would have been in two places at once, {at}.")


def _known(branch: Branch, busy: Spans) -> list[tuple[int, tuple[datetime, datetime]]]:
    """Where these resources were in the same weeks by what is stored."""
    first = min(start for spans in busy.values() for start, _ in spans)
    last = max(end for spans in busy.values() for _, end in spans)
    day = timedelta(days=1)  # for the road
    stored = (
        Stint.objects.of_branch(branch)
        .standing()
        .overlapping(first - day, last + day)
        .select_related("crew")
        .prefetch_related("installers", "machines")
    )
    return [
        (resource_id, claims.worked(stint))
        for stint in stored
        for resource_id in (
            stint.crew.resource_id,
            *(each.resource_id for each in stint.installers.all()),
            *(each.resource_id for each in stint.machines.all()),
        )
        if resource_id in busy
    ]


def _away(stint: PlannedStint) -> tuple[datetime, datetime]:
    return (
        stint.start - timedelta(minutes=stint.travel_before_min),
        stint.end + timedelta(minutes=stint.travel_after_min),
    )


def _booking(branch: Branch, each: PastWork) -> Booking:
    return Booking(
        branch=branch,
        job=each.job,
        state=BookingState.DONE,
        promise=PromiseLevel.CONFIRMED,
        walk_on_at=each.walk_on_at,
        drive_on_at=each.drive_on_at,
        version=1,
        booked_at=each.booked_at,
        confirmed_at=each.booked_at,
        done_at=each.stint.end,
    )


def _stint(booking: Booking, each: PastWork) -> Stint:
    planned = each.stint
    return Stint(
        booking=booking,
        crew_id=planned.crew_id,
        start=planned.start,
        end=planned.end,
        travel_before_min=planned.travel_before_min,
        travel_after_min=planned.travel_after_min,
        state=StintState.DONE,
        stages=list(planned.stages),
        pour_at=planned.pour_at,
        wet_until=planned.wet_until,
    )


def _send(stints: Sequence[Stint], work: Sequence[PastWork]) -> None:
    """Who and what was there."""
    people: Any = Stint.installers.through
    people.objects.bulk_create(
        people(stint_id=stint.pk, installer_id=pk)
        for stint, each in zip(stints, work, strict=True)
        for pk in each.stint.installer_ids
    )
    machines: Any = Stint.machines.through
    machines.objects.bulk_create(
        machines(stint_id=stint.pk, machine_id=pk)
        for stint, each in zip(stints, work, strict=True)
        for pk in each.stint.machine_ids
    )


def _close(stints: Sequence[Stint], work: Sequence[PastWork], *, by: Actor) -> None:
    """Stamps, calendar entries as of the day itself, and orders that are done."""
    Stamp.objects.bulk_create(
        Stamp(stint=stint, kind=kind, at=at, noted_at=at, noted_by=by.name[:120], user=by.user)
        for stint, each in zip(stints, work, strict=True)
        for kind, at in (each.stamps or {}).items()
    )
    prefetch_related_objects([each.job for each in work], "customer", "site", "system", "floors")
    prefetch_related_objects(stints, "crew", "machines")
    CalendarEntry.objects.bulk_create(
        entry for stint in stints for entry in entries.first_of(stint, now=stint.booking.booked_at)
    )
    Job.objects.filter(pk__in=[each.job.pk for each in work]).update(
        state=JobState.DONE, version=F("version") + 1
    )
