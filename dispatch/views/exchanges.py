"""Swapping two bookings, and handing a machine over to the next floor before the day is over."""

from datetime import datetime

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from dispatch.models import OPEN_STATES, Booking
from dispatch.reads.exchanges import machines_of, partners_of
from dispatch.services import bookings
from dispatch.services.swapping import Side
from dispatch.services.verdicts import judge_booking
from dispatch.views.entrance import OfficeRequest, office, typed_number
from jobs import access
from jobs.models.branches import Units
from jobs.refusals import Refusal
from jobs.rules.clock import say_time
from jobs.rules.local_times import NoSuchTime, instant_shown
from jobs.rules.typed import Unreadable, read_count, read_moment
from jobs.text import one_line

DESK = access.OFFICE_ROLES


@require_safe
@office(*DESK)
def exchange(request: OfficeRequest, pk: int) -> HttpResponse:
    """With whom a booking can be swapped, and which machine could be handed over when."""
    return _show(request, _booking(request, pk))


@require_POST
@office(*DESK)
def swap(request: OfficeRequest, pk: int) -> HttpResponse:
    """Exchange crews and days with another booking; both or neither."""
    found, now = _booking(request, pk), timezone.now()
    other, _, version = request.POST.get("other", "").partition(":")
    try:
        one, two = bookings.swap(
            branch=request.branch,
            first=Side(found.pk, typed_number(request.POST.get("version"))),
            second=Side(typed_number(other), typed_number(version)),
            by=access.person(request.user),
            now=now,
            why=one_line(request.POST.get("why", ""), most=500),
        )
    except Refusal as refusal:
        return _show(request, _booking(request, pk), refusal=refusal)
    for each in (one, two):
        judge_booking(each, now=now)
    messages.success(request, f"Swapped {one.job.customer} with {two.job.customer}.")
    return redirect("booking", pk=pk)


@require_POST
@office(*DESK)
def hand_over(request: OfficeRequest, pk: int) -> HttpResponse:
    """Keep a machine here until an hour only, so that another crew can have it after that."""
    found = _booking(request, pk)
    try:
        until = _instant(request, found)
        bookings.hand_over(
            branch=request.branch,
            booking_id=found.pk,
            version=typed_number(request.POST.get("version")),
            machine_id=typed_number(request.POST.get("machine")),
            until=until,
            travel_after_min=_minutes(request.POST.get("road", "")),
            why=one_line(request.POST.get("why", ""), most=500),
            by=access.person(request.user),
            now=timezone.now(),
        )
    except Refusal as refusal:
        return _show(request, _booking(request, pk), refusal=refusal)
    messages.success(request, f"It is free from {say_time(until, found.job.site.tz)} on the road.")
    return redirect("booking", pk=pk)


def _show(
    request: OfficeRequest, found: Booking, *, refusal: Refusal | None = None
) -> HttpResponse:
    now = timezone.now()
    context = {
        "booking": found,
        "job": found.job,
        "zone": found.job.site.tz,
        "open": found.state in OPEN_STATES,
        "partners": partners_of(found, now=now),
        "machines": machines_of(found),
        "refusal": refusal,
        "typed": request.POST,
        "now": now,
    }
    status = refusal.status if refusal else 200
    return render(request, "dispatch/exchange.html", context, status=status)


def _booking(request: OfficeRequest, pk: int) -> Booking:
    mine = Booking.objects.visible_to(request.user).of_branch(request.branch)
    found: Booking = get_object_or_404(
        mine.select_related("branch", "job__customer", "job__site"), pk=pk
    )
    return found


def _instant(request: OfficeRequest, found: Booking) -> datetime:
    us = request.branch.units == Units.US
    try:
        local = read_moment(request.POST.get("until", ""), us=us)
        return instant_shown(local, found.job.site.tz).at
    except (Unreadable, NoSuchTime) as trouble:
        raise Refusal(str(trouble), field="until") from None


def _minutes(typed: str) -> int:
    try:
        minutes = read_count(typed or "0")
    except Unreadable as trouble:
        raise Refusal(str(trouble), field="road") from None
    if minutes > 24 * 60:
        raise Refusal("A road of more than a day is no road.", field="road")
    return minutes
