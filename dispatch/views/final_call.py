"""The final call: tomorrow's floors in order of danger, one press each."""

from datetime import date, time, timedelta

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from dispatch.models import Stint
from dispatch.reads.final_call import default_day, final_calls
from dispatch.reads.offers import offer_for
from dispatch.rules.final_call import Decision
from dispatch.rules.final_words import decided
from dispatch.services import final_calls as services
from dispatch.services.verdicts import judge_booking
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import Membership, Role
from jobs.refusals import Invalid, Refusal
from jobs.rules.clock import say_moment

DESK = (Role.OWNER, Role.OFFICE)
GONE = "That day is no longer free or no longer good. Please look at the other days."


@require_safe
@office()
def final_call(request: OfficeRequest, day: str = "") -> HttpResponse:
    """The floors to decide on, worst first, with the ready answer and what each press does."""
    return _show(request, _day(request, day))


@require_POST
@office(*DESK)
def decide(request: OfficeRequest, pk: int) -> HttpResponse:
    """One press: keep the decision, or say why it cannot be kept."""
    stint = _stint(request, pk)
    day = stint.start.astimezone(request.branch.tz).date()
    try:
        decision = Decision(request.POST.get("decision", ""))
    except ValueError:
        raise Refusal("The form is incomplete. Please open the page again.") from None
    if decision is Decision.MOVE:
        return _move(request, stint, day)
    now = timezone.now()
    try:
        call = services.decide(
            branch=request.branch,
            stint_id=stint.pk,
            version=_number(request.POST.get("version")),
            decision=decision,
            by=access.person(request.user),
            now=now,
            why=request.POST.get("why", ""),
            measure=request.POST.get("measure", ""),
        )
    except Refusal as refusal:
        return _show(request, day, refusal=refusal, at=stint.pk)
    said = decided(
        decision=decision, measure=call.measure, by=call.by_name, at=call.at,
        zone=stint.booking.job.site.tz,
    )  # fmt: skip
    messages.success(request, f"{stint.booking.job.customer}: {said}")
    return redirect("final-call-day", day=day.isoformat())


@require_POST
@office(Role.OWNER)
def name_people(request: OfficeRequest) -> HttpResponse:
    """Who takes the final call and who stands in, and at which hours."""
    services.name_people(
        branch=request.branch,
        owner_id=_chosen(request.POST.get("owner", "")),
        deputy_id=_chosen(request.POST.get("deputy", "")),
        call_at=_clock(request.POST.get("call_at", "")),
        check_at=_clock(request.POST.get("check_at", "")),
        by=access.person(request.user),
        now=timezone.now(),
    )
    messages.success(request, "Kept.")
    return redirect("final-call")


def _move(request: OfficeRequest, stint: Stint, day: date) -> HttpResponse:
    """Move to the day that was named before the press; the decision is kept with it."""
    now = timezone.now()
    booking = stint.booking
    chosen = request.POST.get("offer", "")
    if not chosen:
        return redirect("move", pk=booking.pk)
    offer = offer_for(booking.job, chosen, now=now, moving=booking.pk)
    try:
        if offer is None:
            raise Invalid({"offer": GONE})
        moved = services.move_away(
            branch=request.branch,
            stint_id=stint.pk,
            version=_number(request.POST.get("version")),
            ask=offer.ask(),
            by=access.person(request.user),
            now=now,
            why=request.POST.get("why", ""),
        )
    except Refusal as refusal:
        return _show(request, day, refusal=refusal, at=stint.pk)
    judge_booking(moved, now=now)
    when = say_moment(offer.plan.start, booking.job.site.tz)
    messages.success(request, f"{booking.job.customer}: moved to {when}, {offer.crew}.")
    return redirect("final-call-day", day=day.isoformat())


def _show(
    request: OfficeRequest, day: date, *, refusal: Refusal | None = None, at: int | None = None
) -> HttpResponse:
    now = timezone.now()
    branch = request.branch
    shown = final_calls(branch, day=day, now=now, search=request.role in DESK)
    people = Membership.objects.filter(branch=branch, role__in=DESK).select_related("user")
    context = {
        "calls": shown,
        "zone": branch.tz,
        "today": branch.today(now),
        "tomorrow": branch.today(now) + timedelta(days=1),
        "refusal": refusal,
        "refused_at": at,
        "may_decide": request.role in DESK,
        "may_name": request.role == Role.OWNER,
        "people": people.order_by("user__username"),
        "now": now,
    }
    status = refusal.status if refusal else 200
    return render(request, "dispatch/final_call.html", context, status=status)


def _day(request: OfficeRequest, typed: str) -> date:
    if not typed:
        return default_day(request.branch, now=timezone.now())
    try:
        day = date.fromisoformat(typed)
    except ValueError:
        raise Http404("That is no day.") from None
    if not 2000 <= day.year <= 2100:
        raise Http404("That is no day.")
    return day


def _stint(request: OfficeRequest, pk: int) -> Stint:
    mine = Stint.objects.of_branch(request.branch).with_all().prefetch_related("verdicts")
    found: Stint = get_object_or_404(mine, pk=pk)
    return found


def _number(value: str | None) -> int:
    if value is None or not value.isdecimal() or len(value) > 9:
        raise Refusal("The form is incomplete. Please open the page again.")
    return int(value)


def _chosen(value: str) -> int | None:
    return int(value) if value.isdecimal() and len(value) < 10 else None


def _clock(value: str) -> time:
    try:
        return time.fromisoformat(value.strip()).replace(tzinfo=None)
    except ValueError:
        raise Invalid({"call_at": f"{value[:20]!r} is no time such as 17:30."}) from None
