"""Offering, booking, moving, confirming and calling off."""

from datetime import date, datetime, timedelta

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from dispatch.models import Booking, BookingState, Link, LinkPurpose, StintState
from dispatch.reads.booked import booked_setting
from dispatch.reads.booking_day import day_picture, idle_words, stints_of
from dispatch.reads.booking_to_do import to_do
from dispatch.reads.forecast_age import forecast_age
from dispatch.reads.history import history
from dispatch.reads.known import known_of
from dispatch.reads.latest_starts import latest_starts
from dispatch.reads.offers import Offers, best_days, offer_for, on_day, who_has
from dispatch.reads.on_site import on_site
from dispatch.reads.second_opinion import SecondOpinion
from dispatch.reads.stock import to_order
from dispatch.rules.pictures import day_summary
from dispatch.services import bookings, links
from dispatch.services.verdicts import judge_booking, replan
from dispatch.views.entrance import OfficeRequest, office
from jobs import access, idempotency
from jobs.models import AuditEvent, Job, JobState, Role
from jobs.refusals import Refusal
from jobs.rules.clock import say_moment
from jobs.rules.refusals import CannotPlan
from jobs.services.questions import NotKnown

HOLD_FOR = timedelta(minutes=30)
DESK = (Role.OWNER, Role.OFFICE)
GONE = "That day is no longer free or no longer good. These are the best days now."


@require_safe
@office(*DESK)
def offers(request: OfficeRequest, pk: int) -> HttpResponse:
    """The five best days for a waiting floor, and why the others are not."""
    return _show_offers(request, _job(request, pk))


@require_POST
@office(*DESK)
def book(request: OfficeRequest, pk: int) -> HttpResponse:
    """Book or hold the chosen day; a lost race shows who has it and the next best days."""
    job = _job(request, pk)
    now = timezone.now()
    hold = request.POST.get("hold", "")
    chosen = hold or request.POST.get("offer", "")
    by, key, asked = access.person(request.user), request.POST.get("key", ""), ("page", pk, chosen)
    pressed_before = idempotency.answered(by=by, key=key, what=asked)
    if pressed_before is not None:
        return redirect("booking", pk=pressed_before)
    offer = offer_for(job, chosen, now=now)
    if offer is None:
        return _show_offers(request, job, refusal=_who_was_faster(job, chosen), status=409)
    ask = offer.ask(held_until=now + HOLD_FOR if hold else None, key=key)
    try:
        booking = bookings.book(
            branch=request.branch,
            job_id=job.pk,
            version=_number(request.POST.get("version")),
            ask=ask,
            by=by,
            now=now,
            asked=asked,
        )
    except Refusal as refusal:
        return _show_offers(request, _job(request, pk), refusal=str(refusal), status=refusal.status)
    links.for_booking(booking, now=now)
    judge_booking(booking, now=now)
    when = say_moment(offer.plan.start, job.site.tz)
    said = (
        f"Held until {say_moment(booking.held_until, job.site.tz)}." if booking.held_until else ""
    )
    messages.success(request, said or f"Booked: {offer.crew}, {when}.")
    return redirect("booking", pk=booking.pk)


@require_safe
@office()
def booking(request: OfficeRequest, pk: int) -> HttpResponse:
    """One booking: its days, verdict, picture, promise, link and history."""
    now = timezone.now()
    found = _booking(request, pk)
    stints = stints_of(found.pk)
    verdict = stints[0].verdicts.filter(latest=True).first() if stints else None
    pictures, plan, second = [], None, ""
    if stints and stints[0].state == StintState.PLANNED:
        setting = booked_setting(found.job, stints, now=now)
        try:
            plan = replan(setting, stints)
        except CannotPlan:
            plan = None
        if plan is not None:
            second = SecondOpinion(setting).on(plan)
            gate = verdict.last_safe_pour if verdict else None
            for number in range(len(plan.visits)):
                picture = day_picture(setting, plan, last_safe_pour=gate, number=number)
                pictures.append((picture, day_summary(picture)))
    link = Link.objects.filter(booking=found, purpose=LinkPurpose.CUSTOMER).live(now).first()
    context = {
        "booking": found,
        "job": found.job,
        "zone": found.job.site.tz,
        "stints": stints,
        "verdict": verdict,
        "pictures": pictures,
        "second": second,
        "idle": tuple(idle_words(plan, found.job.site.tz)) if plan else (),
        "age": forecast_age(found.job.site.place, now=now, zone=found.job.site.tz),
        "customer_url": links.address(link) if link and request.role in DESK else "",
        "history": history(found),
        **to_do(found, stints, verdict, desk=request.role in DESK, now=now),
        "site": on_site(found.job, now=now),
        "orders": to_order(found, stints, now=now),
        "may_enter": request.role != Role.READER and found.state != BookingState.CALLED_OFF,
        "may_undo": request.role in DESK and found.state != BookingState.DONE,
        "may_change": request.role in DESK and found.state in ("held", "booked"),
        "now": now,
    }
    return render(request, "dispatch/booking.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@office(*DESK)
def move(request: OfficeRequest, pk: int) -> HttpResponse:
    """Other days for a booking, and the move to one of them."""
    found = _booking(request, pk)
    if request.method != "POST":
        return _show_offers(request, found.job, moving=found)
    now = timezone.now()
    chosen = request.POST.get("offer", "")
    offer = offer_for(found.job, chosen, now=now, moving=found.pk)
    if offer is None:
        return _show_offers(
            request,
            found.job,
            moving=found,
            refusal=f"{who_has(request.branch, chosen)} {GONE}".strip(),
            status=409,
        )
    try:
        moved = bookings.move(
            branch=request.branch,
            booking_id=found.pk,
            version=_number(request.POST.get("version")),
            ask=offer.ask(why=request.POST.get("why", "")[:500]),
            agreed=request.POST.get("agreed") == "yes",
            by=access.person(request.user),
            now=now,
        )
    except Refusal as refusal:
        return _show_offers(
            request, found.job, moving=found, refusal=str(refusal), status=refusal.status
        )
    judge_booking(moved, now=now)
    messages.success(
        request, f"Moved: {offer.crew}, {say_moment(offer.plan.start, found.job.site.tz)}."
    )
    return redirect("booking", pk=moved.pk)


@require_POST
@office(*DESK)
def confirm(request: OfficeRequest, pk: int) -> HttpResponse:
    """Make the planned or held day a confirmed one; else the form for what is not known yet."""
    try:
        found = bookings.confirm(
            branch=request.branch,
            booking_id=pk,
            version=_number(request.POST.get("version")),
            by=access.person(request.user),
            now=timezone.now(),
        )
    except NotKnown as refusal:
        messages.error(request, str(refusal))
        return redirect(f"{reverse('booking', args=[pk])}#known")
    messages.success(request, f"Confirmed for {found.job.customer}.")
    return redirect("booking", pk=found.pk)


@require_POST
@office(*DESK)
def undo(request: OfficeRequest, pk: int) -> HttpResponse:
    """Take the last move, call-off or confirmation back."""
    now = timezone.now()
    found = bookings.undo(
        branch=request.branch,
        booking_id=pk,
        version=_number(request.POST.get("version")),
        by=access.person(request.user),
        now=now,
    )
    judge_booking(found, now=now)
    messages.success(request, f"Taken back. {found.job.customer} is where it was before.")
    return redirect("booking", pk=found.pk)


@require_POST
@office(*DESK)
def call_off(request: OfficeRequest, pk: int) -> HttpResponse:
    """Call a booking off; the floor waits again in its old place in line."""
    why = request.POST.get("why", "").strip()
    if not why:
        raise Refusal(
            "Please say why the booking is called off: the customer is told.", field="why"
        )
    found = bookings.call_off(
        branch=request.branch,
        booking_id=pk,
        version=_number(request.POST.get("version")),
        by=access.person(request.user),
        now=timezone.now(),
        why=why,
    )
    messages.success(request, f"Called off. {found.job.customer} is back in line.")
    return redirect("waiting")


def _show_offers(
    request: OfficeRequest,
    job: Job,
    *,
    moving: Booking | None = None,
    refusal: str = "",
    status: int = 200,
) -> HttpResponse:
    now = timezone.now()
    found: Offers | None = None
    day = asked_day(request)
    if moving is not None or job.state == JobState.WAITING:
        found = _found(job, day, now=now, moving=moving.pk if moving else None)
    context = {
        "day": day,
        "needed": job.car_needed_by,
        "latest_starts": latest_starts(job, now=now) if found else (),
        "job": job,
        "known": known_of(job, now=now),
        "offers": found,
        "moving": moving,
        "refusal": refusal,
        "zone": job.site.tz,
        "age": forecast_age(job.site.place, now=now, zone=job.site.tz),
        "now": now,
        "key": f"{job.pk}-{job.version}-{request.user.pk}-{int(now.timestamp() * 1000)}",
        "open_booking": job.bookings.filter(state__in=["held", "booked"]).first(),
    }
    return render(request, "dispatch/offers.html", context, status=status)


def _found(job: Job, day: date | None, *, now: datetime, moving: int | None) -> Offers:
    if day is not None:
        return on_day(job, day, now=now, moving=moving)
    return best_days(job, now=now, moving=moving)


def asked_day(request: OfficeRequest) -> date | None:
    """The one day that an address asks about, if it names one."""
    try:
        return date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        return None


def _who_was_faster(job: Job, chosen: str) -> str:
    """Why an offer is gone: the job has been booked meanwhile, or the day has been taken."""
    booked = job.bookings.filter(state__in=["held", "booked"]).first()
    if booked is None:
        return f"{who_has(job.branch, chosen)} {GONE}".strip()
    event = AuditEvent.objects.filter(subject="booking", subject_id=booked.pk).last()
    by = f" by {event.actor_name}" if event else ""
    return f"{job.customer} was booked{by} a moment ago."


def _job(request: OfficeRequest, pk: int) -> Job:
    job: Job = get_object_or_404(
        Job.objects.visible_to(request.user).of_branch(request.branch).with_floors(), pk=pk
    )
    return job


def _booking(request: OfficeRequest, pk: int) -> Booking:
    mine = Booking.objects.visible_to(request.user).of_branch(request.branch)
    found: Booking = get_object_or_404(
        mine.select_related(
            "branch__depot_place",
            "job__branch__depot_place",
            "job__customer",
            "job__site__place",
            "job__system",
        ).prefetch_related("job__floors__parts"),
        pk=pk,
    )
    return found


def _number(value: str | None) -> int:
    if value is None or not value.isdecimal() or len(value) > 9:
        raise Refusal("The form is incomplete. Please open the page again.")
    return int(value)
