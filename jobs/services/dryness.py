"""What people saw of a slab: when it was last wetted and when it first looked dry."""

from collections.abc import Sequence
from datetime import datetime

from jobs import audit
from jobs.access import Actor
from jobs.models import Branch, Floor, FloorPart
from jobs.models.customers import WHOLE_FLOOR
from jobs.refusals import Invalid, NotFound
from jobs.rules.other_water import waters
from jobs.writing import run_write


@run_write
def note(
    *,
    branch: Branch,
    floor_id: int,
    part: str = WHOLE_FLOOR,
    wetted_at: datetime | None = None,
    looked_dry_at: datetime | None = None,
    wetted_by: str = "",
    by: Actor,
    now: datetime,
) -> FloorPart:
    """Keep what somebody saw of a floor or of one of its parts. Raises Invalid, NotFound.

    A new wetting makes an earlier "looked dry" worth nothing. It is a sighting, no reading:
    no slab is called dry by it. `wetted_by` is a value of `Water` where it was not rain.
    """
    if wetted_by and not waters([wetted_by]):
        raise Invalid({"seen": "Say what wetted it: rain, sprinklers, a wash, a car or snow."})
    floor = Floor.objects.of_branch(branch).filter(pk=floor_id).first()
    if floor is None:
        raise NotFound("There is no such floor in this branch.")
    row: FloorPart | None = floor.parts.filter(name=part).first()
    if row is None:
        if part != WHOLE_FLOOR:
            raise NotFound("This floor has no such part.")
        row = FloorPart(floor=floor, name=WHOLE_FLOOR, exposure=floor.exposure)
    before = _kept(row)
    _change(row, wetted_at=wetted_at, looked_dry_at=looked_dry_at, now=now)
    if wetted_at is not None:
        row.wetted_by = wetted_by
    row.noted_at, row.estimated = now, False
    row.save()
    audit.record(
        branch=branch,
        by=by,
        subject="floor",
        subject_id=floor.pk,
        action="note dryness",
        now=now,
        before=before,
        after=_kept(row),
    )
    return row


def _change(
    row: FloorPart, *, wetted_at: datetime | None, looked_dry_at: datetime | None, now: datetime
) -> None:
    if wetted_at is None and looked_dry_at is None:
        raise Invalid({"at": "Please say when it was wetted or when it looked dry."})
    if max(at for at in (wetted_at, looked_dry_at) if at is not None) > now:
        raise Invalid({"at": "Nobody can have seen that yet: the time is still to come."})
    if wetted_at is not None:
        row.wetted_at = wetted_at
        if row.looked_dry_at is not None and row.looked_dry_at < wetted_at:
            row.looked_dry_at = None
    if looked_dry_at is not None:
        if row.wetted_at is not None and looked_dry_at < row.wetted_at:
            raise Invalid({"at": "It was wetted after that; say when it looked dry since then."})
        row.looked_dry_at = looked_dry_at


def _kept(row: FloorPart) -> dict[str, str | None]:
    return {
        "part": row.name,
        "wetted_at": row.wetted_at.isoformat() if row.wetted_at else None,
        "wetted_by": row.wetted_by or None,
        "looked_dry_at": row.looked_dry_at.isoformat() if row.looked_dry_at else None,
    }


@run_write
def note_waters(
    *, branch: Branch, floor_id: int, seen: Sequence[str], by: Actor, now: datetime
) -> Floor:
    """Keep how a floor gets wet besides the rain that falls on it, as values of `Water`."""
    floor: Floor | None = Floor.objects.of_branch(branch).filter(pk=floor_id).first()
    if floor is None:
        raise NotFound("There is no such floor in this branch.")
    before = {"other_water": list(floor.other_water)}
    floor.other_water = [water.value for water in waters(seen)]
    floor.save(update_fields=["other_water"])
    audit.record(
        branch=branch,
        by=by,
        subject="floor",
        subject_id=floor.pk,
        action="note other water",
        now=now,
        before=before,
        after={"other_water": floor.other_water},
    )
    return floor
