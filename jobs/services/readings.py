"""Readings that people took on a floor, kept with who, when, where and by which method."""

from datetime import datetime
from typing import Any

from jobs import audit
from jobs.access import Actor
from jobs.models import Branch, Floor, SiteReading
from jobs.refusals import Invalid, NotFound
from jobs.rules.site_readings import SPOT_MOST, NewReading, problems_of
from jobs.text import one_line
from jobs.writing import run_write


@run_write
def enter(
    *, branch: Branch, floor_id: int, new: NewReading, by: Actor, now: datetime
) -> SiteReading:
    """Keep one reading. Raises Invalid with a sentence for every field, and NotFound.

    The same reading sent twice (a phone that was offline) is one row.
    """
    floor = Floor.objects.of_branch(branch).filter(pk=floor_id).first()
    if floor is None:
        raise NotFound("There is no such floor in this branch.")
    problems = dict(problems_of(new, now=now))
    if problems:
        raise Invalid(problems)
    told: dict[str, Any] = {
        "at": min(new.at, now),
        "spot": one_line(new.spot, most=SPOT_MOST),
        "slab_c": new.slab_c,
        "air_c": new.air_c,
        "humidity_pct": new.humidity_pct,
        "moisture": new.moisture,
        "moisture_method": new.moisture_method,
        "within_limit": new.within_limit,
    }
    row: SiteReading
    row, made = SiteReading.objects.get_or_create(
        floor=floor, taken_by=by.name[:120], **told, defaults={"entered_at": now}
    )
    if made:
        audit.record(
            branch=branch,
            by=by,
            subject="floor",
            subject_id=floor.pk,
            action="enter reading",
            now=now,
            after={**told, "at": row.at.isoformat()},
        )
    return row
