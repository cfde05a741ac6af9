"""How the stints of a booking were laid out, so that it can be laid out again."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from dispatch.models import Machine, MachineKind, Stint
from dispatch.reads.chain import Setting, setting_for, with_grinders
from jobs.models import Job
from jobs.rules.bays import bays_laid
from jobs.rules.plan import StageKind


@dataclass(frozen=True)
class Booked:
    """Hands, visits and bays of a booking; `grinders` is None where one crew brings its own."""

    crew_size: int
    start: datetime
    second_start: datetime | None
    split_after: StageKind
    bays: int
    grinders: int | None


def booked_as(stints: Sequence[Stint]) -> Booked:
    """Read from standing stints in order; those of one start are crews that work together."""
    first = stints[0]
    starts = sorted({stint.start for stint in stints})
    together = [stint for stint in stints if stint.start == first.start]
    own = [stint for stint in stints if stint.crew_id == first.crew_id]
    prepared = {stage.get("kind") for stage in first.stages}
    several = len(together) > 1
    return Booked(
        crew_size=max(1, sum(stint.installers.count() for stint in together)),
        start=first.start,
        second_start=starts[1] if len(starts) > 1 else None,
        split_after=StageKind.BASE if StageKind.BASE in prepared else StageKind.VERTICALS,
        bays=bays_laid(stage.get("kind", "") for stint in own for stage in stint.stages),
        grinders=sum(len(_grinders(stint)) for stint in together) if several else None,
    )


def booked_setting(job: Job, stints: Sequence[Stint], *, now: datetime) -> Setting:
    """The chain of a booked order: its floor is ground at the pace of the grinders it claims."""
    grinders = [machine for stint in stints for machine in _grinders(stint)]
    return with_grinders(setting_for(job, now=now), grinders)


def _grinders(stint: Stint) -> list[Machine]:
    return [each for each in stint.machines.all() if each.kind == MachineKind.GRINDER]
