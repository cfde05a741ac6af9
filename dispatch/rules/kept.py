"""What the record kept of a booking, read back into what could be asked for again."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from dispatch.rules.asking import PlannedStint, span_of

PLANNED, DONE = "planned", "done"


def instant(text: str | None) -> datetime | None:
    """The moment that was kept, if there was one."""
    return datetime.fromisoformat(text) if text else None


def is_whole(kept: Mapping[str, Any]) -> bool:
    """Whether enough was kept to put the booking back; older records kept less."""
    return "moves" in kept and all("travel_min" in stint for stint in kept["stints"])


def planned_stints(kept: Mapping[str, Any]) -> tuple[PlannedStint, ...]:
    """The stints that were still to be done, as they could be asked for again."""
    return tuple(_planned(stint) for stint in kept["stints"] if stint["state"] == PLANNED)


def _planned(stint: Mapping[str, Any]) -> PlannedStint:
    before, after = stint["travel_min"]
    return PlannedStint(
        crew_id=stint["crew"],
        start=datetime.fromisoformat(stint["start"]),
        end=datetime.fromisoformat(stint["end"]),
        machine_ids=tuple(stint["machines"]),
        machine_spans=tuple(span_of(span) for span in stint["machine_spans"]),
        travel_before_min=before,
        travel_after_min=after,
        stages=tuple(stint["stages"]),
        pour_at=instant(stint["pour_at"]),
        wet_until=instant(stint["wet_until"]),
        installer_ids=tuple(each["installer"] for each in stint.get("people_spans", ())),
    )


def exchanged(
    mine: Sequence[PlannedStint], theirs: Sequence[PlannedStint]
) -> tuple[PlannedStint, ...]:
    """My stints with their crews, machines and starts: my own lengths, stages and roads."""
    return tuple(_in_place_of(one, other) for one, other in zip(mine, theirs, strict=True))


def _in_place_of(mine: PlannedStint, theirs: PlannedStint) -> PlannedStint:
    by = theirs.start - mine.start
    return PlannedStint(
        crew_id=theirs.crew_id,
        start=theirs.start,
        end=mine.end + by,
        machine_ids=theirs.machine_ids,
        travel_before_min=mine.travel_before_min,
        travel_after_min=mine.travel_after_min,
        stages=tuple(_stage_later(stage, by) for stage in mine.stages),
        pour_at=mine.pour_at + by if mine.pour_at else None,
        wet_until=mine.wet_until + by if mine.wet_until else None,
    )


def _stage_later(stage: Mapping[str, Any], by: timedelta) -> dict[str, Any]:
    moved = {
        name: (datetime.fromisoformat(stage[name]) + by).isoformat() for name in ("start", "end")
    }
    return {**stage, **moved}
