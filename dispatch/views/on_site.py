"""Readings and heaters of a booking's site; the booking is judged again at once."""

from datetime import datetime

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from dispatch.models import Booking
from dispatch.services import heating
from dispatch.services.verdicts import judge_booking
from dispatch.typed_reading import moment_at, typed_reading
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import Role
from jobs.models.branches import Units
from jobs.refusals import Invalid
from jobs.rules.typed import Unreadable, read_number
from jobs.services import readings


@require_POST
@office(Role.OWNER, Role.OFFICE, Role.LEAD)
def enter_reading(request: OfficeRequest, pk: int) -> HttpResponse:
    """Keep a reading of one of the booking's floors."""
    booking, now = _booking(request, pk), timezone.now()
    floor_id, new = typed_reading(
        request.POST, us=request.branch.units == Units.US, zone=booking.job.site.tz, now=now
    )
    if not booking.job.floors.filter(pk=floor_id).exists():
        raise Invalid({"floor": "Choose the floor that was read."})
    by = access.person(request.user)
    readings.enter(branch=request.branch, floor_id=floor_id, new=new, by=by, now=now)
    return _judged(request, booking, now=now, said="Kept. Slab and verdict below count it.")


@require_POST
@office(Role.OWNER, Role.OFFICE, Role.LEAD)
def place_heater(request: OfficeRequest, pk: int) -> HttpResponse:
    """Let a heater stand at the booking's site."""
    booking, now = _booking(request, pk), timezone.now()
    zone, machine = booking.job.site.tz, request.POST.get("machine", "")
    typed_kw = request.POST.get("power_kw", "").strip()
    try:
        power_kw = read_number(typed_kw, us=True) if typed_kw else None
    except Unreadable as trouble:
        raise Invalid({"power_kw": str(trouble)}) from None
    stay = heating.place_heater(
        branch=request.branch,
        machine_id=int(machine) if machine.isdecimal() and len(machine) < 10 else 0,
        site_id=booking.job.site_id,
        start=moment_at(request.POST.get("start", ""), zone),
        end=moment_at(request.POST.get("end", ""), zone),
        power_kw=power_kw,
        vented=request.POST.get("unvented") != "yes",
        by=access.person(request.user),
        now=now,
    )
    said = f"{stay.machine} is put down for this site. Slab and verdict below count it."
    return _judged(request, booking, now=now, said=said)


@require_POST
@office(Role.OWNER, Role.OFFICE, Role.LEAD)
def take_heater_away(request: OfficeRequest, pk: int, stay: int) -> HttpResponse:
    """A heater leaves the site now, or never comes."""
    booking, now = _booking(request, pk), timezone.now()
    by = access.person(request.user)
    left = heating.take_heater_away(branch=request.branch, stay_id=stay, by=by, now=now)
    return _judged(request, booking, now=now, said=f"{left.machine} is free again.")


def _booking(request: OfficeRequest, pk: int) -> Booking:
    mine = Booking.objects.of_branch(request.branch).select_related("job__site", "branch")
    booking: Booking = get_object_or_404(mine, pk=pk)
    return booking


def _judged(request: OfficeRequest, booking: Booking, *, now: datetime, said: str) -> HttpResponse:
    judge_booking(Booking.objects.with_job().get(pk=booking.pk), now=now)
    messages.success(request, said)
    return redirect("booking", pk=booking.pk)
