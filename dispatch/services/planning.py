"""Plans: asked for, worked out once by whoever takes the lease, stored; nothing is booked here."""

import logging
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q

from dispatch.models import LineKind, PlanLine, PlanOption, PlanState, Resource, StoredPlan
from dispatch.reads.plan_floors import DAYS, Away
from dispatch.reads.plan_options import PlanAnswer, rings_of, why_no_day, work_out
from dispatch.reads.plan_settled import Placed
from dispatch.reads.plan_words import parts_of, reasons_of
from dispatch.rules.planning.answer import Limits
from dispatch.rules.planning.candidates import NOWHERE
from dispatch.services.applying_plans import apply_plan
from jobs.access import Actor
from jobs.models import Branch
from jobs.refusals import NotFound, Refusal
from jobs.writing import run_write

__all__ = ["apply_plan", "ask_plan", "make_due", "make_plan"]

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=5)
LIMITS = Limits(seconds=10.0, gap=0.0)


@run_write
def ask_plan(
    *,
    branch: Branch,
    by: Actor,
    now: datetime,
    days: int = DAYS,
    away: Sequence[Away] = (),
) -> StoredPlan:
    """Ask for a plan of the branch; one that is asked for already is that one.

    `away` is who is ill or what is broken, though it may be booked then. Raises NotFound.
    """
    ours = set(Resource.objects.filter(branch=branch).values_list("pk", flat=True))
    if any(each.resource_id not in ours for each in away):
        raise NotFound("There is no such person, crew or machine in this branch.")
    if any(each.end <= each.start for each in away):
        raise Refusal("Somebody is away until before the time from which they are away.")
    kept = [
        {
            "resource": each.resource_id,
            "from": each.start.isoformat(),
            "until": each.end.isoformat(),
        }
        for each in away
    ]
    waiting = StoredPlan.objects.of_branch(branch).filter(
        state__in=(PlanState.ASKED, PlanState.SOLVING), days=days, away=kept
    )
    plan: StoredPlan = waiting.order_by("pk").first() or StoredPlan.objects.create(
        branch=branch,
        asked_at=now,
        asked_by=by.name,
        days=days,
        away=kept,
        progress="Waiting",
    )
    return plan


def make_due(*, now: datetime, limit: int = 4) -> int:
    """Work out the plans that somebody asked for; return how many. Safe to run twice at once."""
    return sum(make_plan(plan.pk, now=now) for plan in StoredPlan.objects.due(now)[:limit])


def make_plan(plan_id: int, *, now: datetime) -> bool:
    """Work one plan out and store it; False if somebody else works at it or has done it.

    A plan that cannot be worked out says why. A worker that dies leaves a lease that lapses.
    """
    if not _lease(plan_id, now=now):
        return False
    plan = StoredPlan.objects.select_related("branch__depot_place").get(pk=plan_id)

    def progress(words: str) -> None:
        StoredPlan.objects.filter(pk=plan_id).update(progress=words[:200])

    try:
        version = plan.branch.calendar_version
        answer = work_out(
            plan.branch,
            now=now,
            limits=LIMITS,
            days=plan.days or DAYS,
            away=_away(plan),
            progress=progress,
        )
    except Exception as trouble:
        # One plan that breaks off keeps nobody else's work waiting; its page says why.
        log.exception("A plan could not be worked out")
        StoredPlan.objects.filter(pk=plan_id).update(
            state=PlanState.FAILED, leased_until=None, why=str(trouble)[:300] or "It broke off."
        )
        return True
    _store(plan_id=plan_id, answer=answer, version=version, now=now)
    return True


def _away(plan: StoredPlan) -> list[Away]:
    return [
        Away(
            each["resource"],
            datetime.fromisoformat(each["from"]),
            datetime.fromisoformat(each["until"]),
        )
        for each in plan.away
    ]


def _lease(plan_id: int, *, now: datetime) -> bool:
    """One conditional update; only one worker gets a count of 1."""
    open_states = (PlanState.ASKED, PlanState.SOLVING)
    free = Q(leased_until__isnull=True) | Q(leased_until__lte=now)
    mine = StoredPlan.objects.filter(free, pk=plan_id, state__in=open_states)
    return mine.update(state=PlanState.SOLVING, leased_until=now + LEASE) == 1


@run_write
def _store(*, plan_id: int, answer: PlanAnswer, version: int, now: datetime) -> None:
    """The answer as rows; lines that several options share are kept once."""
    plan = StoredPlan.objects.get(pk=plan_id)
    plan.lines.all().delete()
    plan.options.all().delete()
    lines: dict[tuple[Any, ...], PlanLine] = {}
    for option in answer.options:
        rings = rings_of(answer.rows, option)
        row = PlanOption.objects.create(
            plan=plan,
            most_rings=option.most,
            rings=rings,
            cents=option.answer.objective,
            bound_cents=_whole(option.answer.bound),
            proof=option.answer.proof.value,
            solve_s=option.answer.solve_s,
        )
        own = []
        for placed in option.settled.placed:
            key = (placed.floor, placed.column, placed.offer.key if placed.offer else "")
            if key not in lines:
                lines[key] = _line(plan, answer, placed, option.answer.duals)
                lines[key].save()
            own.append(lines[key])
        row.lines.set(own)
    _finish(plan, answer, version=version, now=now)


def _line(plan: StoredPlan, answer: PlanAnswer, placed: Placed, duals: Any) -> PlanLine:
    rows = answer.rows
    floor = rows.floors.floors[placed.floor]
    standing, offer = floor.standing, placed.offer
    line = PlanLine(
        plan=plan,
        job=floor.job,
        job_version=floor.job.version,
        booking=standing.booking if standing else None,
        booking_version=standing.booking.version if standing else None,
        kind=_kind(placed, standing is not None),
    )
    if placed.column != NOWHERE:
        line.cost_cents = int(rows.columns.cost[placed.column])
        line.rings = bool(rows.columns.rings[placed.column])
        line.reasons = reasons_of(rows, placed, duals)
        line.parts = parts_of(rows, placed)
    if offer is not None:
        line.crew, line.start, line.end = offer.crew, offer.plan.start, offer.plan.end
    elif standing is not None:
        line.crew_id = standing.crew_id
        line.start, line.end = standing.start, standing.stints[-1].end
    else:
        line.reasons = [{"words": _why_out(answer, placed.floor)}]
    return line


def _kind(placed: Placed, stands: bool) -> LineKind:
    if placed.offer is None:
        return LineKind.STAY if stands else LineKind.OUT
    return LineKind.MOVE if stands else LineKind.PLACE


def _why_out(answer: PlanAnswer, floor: int) -> str:
    has_any = bool((answer.rows.columns.floor == floor).any())
    if has_any:
        return (
            "Every crew and day it could have is worth more to other floors. One more crew, or "
            "days on which it may be done, would give it a place."
        )
    return why_no_day(answer.rows, floor, answer.refused)


def _finish(plan: StoredPlan, answer: PlanAnswer, *, version: int, now: datetime) -> None:
    floors = answer.rows.floors
    out = plan.lines.filter(kind=LineKind.OUT).order_by("pk")
    plan.state, plan.made_at, plan.leased_until = PlanState.READY, now, None
    plan.progress = "Ready"
    plan.first_day, plan.days = floors.first_day, floors.days
    plan.calendar_version = version
    plan.standing_cents = answer.standing_cents
    plan.greedy_cents = answer.greedy.objective
    plan.solve_s = answer.solve_s
    plan.forecasts = sorted(
        {
            each.search.setting.forecast.pk
            for each in floors.floors
            if each.search.setting.forecast is not None
        }
    )
    plan.prices = _prices(answer)
    plan.binds = [{"what": gain.what, "cents": gain.cents} for gain in answer.gains]
    plan.problems = list(
        {
            line.job_id: {"job": line.job_id, "why": line.reasons[0]["words"]} for line in out
        }.values()
    )
    plan.save()


def _prices(answer: PlanAnswer) -> dict[str, Any]:
    """Cents by crew and day, for the search for days."""
    floors = answer.rows.floors
    cents = answer.prices[:, : floors.days].round().astype(int).tolist()
    days = [day.isoformat() for day in floors.calendar.days[: floors.days]]
    return {
        "crews": [crew.pk for crew in floors.calendar.staff.crews],
        "days": days,
        "cents": cents,
    }


def _whole(bound: float) -> int | None:
    return round(bound) if abs(bound) < 1e15 else None
