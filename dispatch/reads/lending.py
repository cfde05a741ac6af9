"""Whom another crew could lend for a day."""

from datetime import date, datetime

from dispatch.models import Crew, CrewMembership
from dispatch.reads.staffing import TEAM, Staffing


def lenders(
    staff: Staffing, crew: Crew, day: date, *, start: datetime, end: datetime
) -> list[CrewMembership]:
    """People of other crews who are free in [start, end), those who are missed least first.

    A crew of three still has two left; of a crew that has no work then somebody can come too,
    which costs it the day. A crew at work with two people lends nobody.
    """
    spare: list[CrewMembership] = []
    idle: list[CrewMembership] = []
    for other in staff.crews:
        if other.pk == crew.pk:
            continue
        team = staff.people(other, day)
        free = [each for each in team if staff.free([each.installer.resource_id], start, end)]
        if not free:
            continue
        busy = not staff.free([other.resource_id], start, end)
        at_work = len(team) - len(free)
        if busy and at_work >= TEAM:
            spare += free
        elif not busy and len(free) > TEAM:
            spare += free[TEAM:]
        elif not busy:
            idle += free
    return [*spare, *idle]
