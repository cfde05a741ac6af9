"""A stored plan as plain values: for the command, other programs and the page."""

from datetime import datetime
from typing import Any

from dispatch.models import LineKind, PlanLine, PlanOption, StoredPlan
from dispatch.rules.planning.answer import Proof
from jobs.models import Job
from jobs.rules.clock import say_span


def plan_told(plan: StoredPlan) -> dict[str, Any]:
    """Everything a plan says: its options with their lines, what binds, floors without a day."""
    options = list(
        plan.options.prefetch_related(
            "lines__job__customer",
            "lines__job__site",
            "lines__crew",
            "lines__booking__stints__crew",
        )
    )
    first = options[0].cents if options else 0
    jobs = Job.objects.filter(pk__in=[each["job"] for each in plan.problems])
    names = {job.pk: job.customer.name for job in jobs.select_related("customer")}
    return {
        "plan": plan.pk,
        "branch": plan.branch.slug,
        "state": plan.state,
        "progress": plan.progress,
        "why": plan.why,
        "asked_at": _iso(plan.asked_at),
        "made_at": _iso(plan.made_at),
        "first_day": plan.first_day.isoformat() if plan.first_day else None,
        "days": plan.days,
        "solve_s": round(plan.solve_s, 3),
        "standing_cents": plan.standing_cents,
        "greedy_cents": plan.greedy_cents,
        "binds": [{**each, "dollars": each["cents"] // 100} for each in plan.binds],
        "problems": [{**each, "customer": names.get(each["job"], "")} for each in plan.problems],
        "options": [_option(each, first) for each in options],
    }


def _option(option: PlanOption, first_cents: int) -> dict[str, Any]:
    lines = sorted(option.lines.all(), key=_order)
    return {
        "most_rings": option.most_rings,
        "rings": option.rings,
        "cents": option.cents,
        "bound_cents": option.bound_cents,
        "gap": gap_of(option),
        "proof": option.proof,
        "saves_cents": first_cents - option.cents,
        "saves": (first_cents - option.cents) // 100,
        "good": good_of(option),
        "solve_s": round(option.solve_s, 3),
        "lines": [line_told(each) for each in lines],
    }


def gap_of(option: PlanOption) -> float | None:
    """How far it may be from the best plan, as a share of its cost; None if unknown."""
    if option.bound_cents is None:
        return None
    return max(0.0, (option.cents - option.bound_cents) / max(1, abs(option.cents)))


def good_of(option: PlanOption) -> str:
    """How good it is proven to be, in words."""
    gap = gap_of(option)
    if option.proof == Proof.OPTIMAL:
        return "proven: no plan costs less"
    if gap is None:
        return "a first plan, not proven"
    return f"at most {100 * gap:.2f} % from the best"


def line_told(line: PlanLine) -> dict[str, Any]:
    """One floor of a plan."""
    return {
        "line": line.pk,
        "kind": line.kind,
        "job": line.job_id,
        "booking": line.booking_id,
        "customer": line.job.customer.name,
        "where": where(line),
        "now": _now(line),
        "crew": line.crew.name if line.crew else None,
        "start": _iso(line.start),
        "end": _iso(line.end),
        "rings": line.rings,
        "cost_cents": line.cost_cents,
        "parts": line.parts,
        "reasons": line.reasons,
        "applied_at": _iso(line.applied_at),
    }


def where(line: PlanLine) -> str:
    """Crew and hours of a line, or that it has no day."""
    if line.kind == LineKind.OUT or line.start is None or line.end is None:
        return "no day"
    return f"{line.crew}, {say_span(line.start, line.end, line.job.site.tz)}"


def _now(line: PlanLine) -> str:
    """Where the booking stands, empty without one."""
    stints = line.booking.stints.all() if line.booking else ()
    first = min((each for each in stints), key=lambda each: each.number, default=None)
    if first is None:
        return ""
    return f"{first.crew}, {say_span(first.start, first.end, line.job.site.tz)}"


def _order(line: PlanLine) -> tuple[bool, datetime | None, int]:
    return (line.start is None, line.start, line.pk) if line.start else (True, None, line.pk)


def _iso(instant: datetime | None) -> str | None:
    return instant.isoformat() if instant else None
