"""Grinders on other floors: which one a visit can have, from when, or why it cannot."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from dispatch.models import Machine
from dispatch.reads.staffing import MachineOut, Staffing
from dispatch.rules.hand_over import HandOver, hand_over, say_possible, say_too_late
from dispatch.rules.travel import Point, travel_min
from jobs.rules.clock import round_up_quarter
from jobs.rules.plan import Stage, StageKind, Visit

ALL_OUT = "Every grinder is out on another floor then."


@dataclass(frozen=True)
class Had:
    """A grinder that a visit can have: from its start, or from a later hour."""

    machine: Machine
    start: datetime | None = None


@dataclass(frozen=True)
class NotHad:
    """Why a visit has no grinder, and when the crew should come for one that is handed over."""

    sentence: str
    arrive: datetime | None = None


def grind_of(visit: Visit) -> Stage | None:
    """The first grinding of a visit, if it has any."""
    return next((stage for stage in visit.stages if stage.kind is StageKind.GRIND), None)


def grinder_for(
    staff: Staffing,
    visit: Visit,
    grinders: Sequence[Machine],
    *,
    start: datetime,
    end: datetime,
    site: Point,
    latest: datetime,
    zone: ZoneInfo,
) -> Had | NotHad:
    """One of `grinders` for a visit that claims [start, end) with its roads.

    One that is free throughout comes first, then one that reaches the site before the visit
    grinds. Failing both, what a hand-over would come to.
    """
    for machine in grinders:
        if staff.free([machine.resource_id], start, end):
            return Had(machine)
    grind = grind_of(visit)
    if grind is None:
        return NotHad(ALL_OUT)
    for machine, out, given in _hand_overs(staff, visit, grinders, grind, site=site, latest=latest):
        there = given.reaches <= grind.start and out.claimed_until <= grind.start
        if there and staff.free([machine.resource_id], grind.start, end):
            return Had(machine, grind.start)
    return _not_had(staff, visit, grinders, grind, site=site, latest=latest, zone=zone)


def _not_had(
    staff: Staffing,
    visit: Visit,
    grinders: Sequence[Machine],
    grind: Stage,
    *,
    site: Point,
    latest: datetime,
    zone: ZoneInfo,
) -> NotHad:
    found = list(_hand_overs(staff, visit, grinders, grind, site=site, latest=latest))
    if not found:
        return NotHad(ALL_OUT)
    machine, out, given = min(found, key=lambda each: each[2].leaves)
    name, where = str(machine), out.where
    if not given.fits:
        return NotHad(say_too_late(given, machine=name, where=where, zone=zone))
    begins = round_up_quarter(max(given.begins, out.claimed_until))
    if begins + (visit.end - grind.start) > latest or begins <= grind.start:
        said = say_possible(given, machine=name, where=where, zone=zone)
        return NotHad(f"{ALL_OUT} {said}")
    return NotHad(ALL_OUT, arrive=begins - (grind.start - visit.start))


def _hand_overs(
    staff: Staffing,
    visit: Visit,
    grinders: Sequence[Machine],
    grind: Stage,
    *,
    site: Point,
    latest: datetime,
) -> Iterator[tuple[Machine, MachineOut, HandOver]]:
    """Each grinder that leaves another floor on the day of the visit, and what that would give."""
    for machine in grinders:
        for out in staff.out.get(machine.pk, ()):
            if not visit.start - (latest - visit.start) < out.needed_until < latest:
                continue
            yield (
                machine,
                out,
                hand_over(
                    released=out.needed_until,
                    road_min=travel_min(out.point, site),
                    earliest=visit.start,
                    before=grind.start - visit.start,
                    after=visit.end - grind.start,
                    latest=latest,
                ),
            )
