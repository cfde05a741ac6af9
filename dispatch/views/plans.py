"""The plan of a branch: ask for one, watch it being worked out, look at its options, make it so."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from dispatch.models import LineKind, PlanState, StoredPlan
from dispatch.reads.plan_told import plan_told
from dispatch.services import planning
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import Role

DESK = (Role.OWNER, Role.OFFICE)


@require_safe
@office(*DESK)
def plans(request: OfficeRequest) -> HttpResponse:
    """The newest plan, or how far it is; without any, what a plan would do."""
    mine = StoredPlan.objects.of_branch(request.branch).select_related("branch")
    newest = mine.order_by("-pk").first()
    if newest is None:
        return render(request, "dispatch/plan.html", {})
    return _show(request, newest)


@require_POST
@office(*DESK)
def ask(request: OfficeRequest) -> HttpResponse:
    """Ask for a plan; one that is being worked out already is that one."""
    plan = planning.ask_plan(
        branch=request.branch, by=access.person(request.user), now=timezone.now()
    )
    return redirect("plan", pk=plan.pk)


@require_safe
@office(*DESK)
def plan(request: OfficeRequest, pk: int) -> HttpResponse:
    """One plan: its options, who must be rung, and every floor with its reasons."""
    mine = StoredPlan.objects.of_branch(request.branch)
    return _show(request, get_object_or_404(mine.select_related("branch"), pk=pk))


def _show(request: OfficeRequest, stored: StoredPlan) -> HttpResponse:
    told = plan_told(stored)
    most = _number(request.GET.get("ring", ""))
    shown = next((each for each in told["options"] if each["most_rings"] == most), None)
    shown = shown or (told["options"][0] if told["options"] else None)
    context = {
        "plan": stored,
        "told": told,
        "shown": shown,
        "working": stored.state in {PlanState.ASKED, PlanState.SOLVING},
        "changes": _changes(shown["lines"] if shown else []),
        "old": stored.calendar_version != request.branch.calendar_version,
    }
    return render(request, "dispatch/plan.html", context)


@require_POST
@office(*DESK)
def apply(request: OfficeRequest, pk: int) -> HttpResponse:
    """Make all or the chosen lines of an option so; what was refused says why."""
    most = _number(request.POST.get("ring", ""))
    chosen = [_number(each) for each in request.POST.getlist("line")]
    applied = planning.apply_plan(
        branch=request.branch,
        plan_id=pk,
        most_rings=most,
        only=chosen,
        by=access.person(request.user),
        now=timezone.now(),
    )
    done = sum(each.done for each in applied)
    messages.success(request, f"{done} of {len(applied)} made so.")
    for each in applied:
        if not each.done:
            messages.error(request, f"{each.line.job.customer}: {each.why}")
    return redirect("plan", pk=pk)


def _changes(lines: list[dict[str, object]]) -> list[dict[str, object]]:
    """The lines that would book or move something."""
    return [each for each in lines if each["kind"] in {LineKind.PLACE, LineKind.MOVE}]


def _number(typed: str) -> int:
    return int(typed) if typed.isdecimal() and len(typed) < 12 else 0
