"""The log of past days as a branch's crews stamped it, and what it teaches."""

from datetime import datetime, timedelta

from dispatch.models import StampKind, Stint, StintState
from dispatch.reads.chain import rates_set
from jobs.models import Branch
from jobs.rules.learning import DayLog, Learnt, learn
from jobs.rules.plan import StageKind
from jobs.rules.rates import stage_hours
from jobs.rules.refusals import CannotPlan
from jobs.rules.stages import PREPARE
from weather.rules.hours import HOUR

LOOKS_BACK = timedelta(days=540)  # a crew of two seasons ago is another crew
MOST_FLOORS = 400
COATING = (StageKind.BASE, StageKind.SCRAPE, StageKind.TOP)


def learnt_of(branch: Branch, *, now: datetime) -> dict[str, dict[str, Learnt]]:
    """Factors by crew and part of the day on the branch's own rates; "" is all crews."""
    return learn(logs_of(branch, now=now))


def logs_of(branch: Branch, *, now: datetime) -> list[DayLog]:
    """One log for each floor done in a single visit, the newest first.

    Planned hours are reckoned anew at the rates that the branch has set, without anything
    learnt before: what is learnt twice is not learnt more.
    """
    done = (
        Stint.objects.of_branch(branch)
        .filter(state=StintState.DONE, start__gt=now - LOOKS_BACK)
        .with_all()
        .prefetch_related("stamps")
        .order_by("-start")[:MOST_FLOORS]
    )
    logs = (_log(stint, branch) for stint in done)
    return [log for log in logs if log is not None]


def _log(stint: Stint, branch: Branch) -> DayLog | None:
    kinds = {str(stage["kind"]) for stage in stint.stages}
    if not {StageKind.BASE.value, StageKind.TOP.value} <= kinds:
        return None  # half a floor: the night lies between its coats
    job = stint.booking.job
    try:
        hours = stage_hours(
            work=job.work(), rates=rates_set(branch), crew_size=len(stint.installers.all())
        )
    except CannotPlan:
        return None
    if job.system.card.flake_kg_per_m2 == 0:
        hours.pop(StageKind.SCRAPE, None)
    at = {stamp.kind: stamp.at for stamp in stint.stamps.all()}
    return DayLog(
        crew=str(stint.crew),
        prepare_h=sum(hours.get(kind, 0.0) for kind in PREPARE),
        hands_h=sum(hours.get(kind, 0.0) for kind in COATING),
        wait_h=_wait_h(stint),
        pack_h=hours.get(StageKind.PACK, 0.0),
        real_prepare_h=_apart_h(at, StampKind.ARRIVED, StampKind.POURED),
        real_coat_h=_apart_h(at, StampKind.POURED, StampKind.TOPPED),
        real_pack_h=_apart_h(at, StampKind.TOPPED, StampKind.LEFT),
    )


def _wait_h(stint: Stint) -> float:
    spans = (
        (datetime.fromisoformat(stage["start"]), datetime.fromisoformat(stage["end"]))
        for stage in stint.stages
        if stage["kind"] == StageKind.SET.value
    )
    return sum((end - start) / HOUR for start, end in spans)


def _apart_h(at: dict[str, datetime], first: StampKind, second: StampKind) -> float | None:
    if first.value not in at or second.value not in at:
        return None
    return (at[second.value] - at[first.value]) / HOUR
