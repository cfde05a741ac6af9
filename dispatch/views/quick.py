"""A quick answer while the caller is on the line: five days, one of them held, then the rest."""

from datetime import datetime

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from dispatch.quick_form import QuickForm, RestForm
from dispatch.reads.forecast_age import forecast_age
from dispatch.reads.offers import Offers, best_days, offer_for
from dispatch.services import bookings, links
from dispatch.services.verdicts import judge_booking
from dispatch.views.bookings import DESK, GONE, HOLD_FOR
from dispatch.views.entrance import OfficeRequest, office, typed_number
from jobs import access, idempotency
from jobs.models import Job
from jobs.refusals import Invalid, Refusal
from jobs.rules.clock import say_moment
from jobs.services import describing


@require_http_methods(["GET", "HEAD", "POST"])
@office(*DESK)
def quick_answer(request: OfficeRequest) -> HttpResponse:
    """The five best days for a floor that is only told; nothing is written until one is held."""
    now = timezone.now()
    if request.method == "POST":
        return _hold(request, now=now)
    if "postal_code" not in request.GET and "latitude" not in request.GET:
        return _show(request, QuickForm(branch=request.branch), now=now)
    form = QuickForm(branch=request.branch, data=request.GET)
    form.full_clean()
    try:
        job = describing.described(branch=request.branch, told=form.told(), now=now)
    except Invalid as refusal:
        form.tell(refusal.problems)
        return _show(request, form, now=now, status=422)
    if form.errors:
        return _show(request, form, now=now, status=422)
    return _show(request, form, now=now, offers=best_days(job, now=now))


def _hold(request: OfficeRequest, *, now: datetime) -> HttpResponse:
    """Note the floor and hold the day for half an hour; a second press finds the same hold."""
    form = QuickForm(branch=request.branch, data=request.POST)
    form.full_clean()
    by = access.person(request.user)
    key, chosen = form.cleaned_data.get("key", ""), request.POST.get("hold", "")
    try:
        job = describing.note(
            branch=request.branch, told=form.told(), by=by, now=now, key=f"note {key}"[:64]
        )
    except Invalid as refusal:
        form.tell(refusal.problems)
        return _show(request, form, now=now, status=422)
    asked = ("hold", job.pk, chosen)
    held = idempotency.answered(by=by, key=key, what=asked)
    if held is not None:
        return redirect("take-in-rest", pk=job.pk)
    job = Job.objects.with_floors().get(pk=job.pk)
    offer = offer_for(job, chosen, now=now)
    if offer is None:
        messages.error(request, GONE)
        return redirect("offers", pk=job.pk)
    try:
        booking = bookings.book(
            branch=request.branch,
            job_id=job.pk,
            version=job.version,
            ask=offer.ask(held_until=now + HOLD_FOR, why="On the telephone.", key=key),
            by=by,
            now=now,
            asked=asked,
        )
    except Refusal as refusal:
        messages.error(request, str(refusal))
        return redirect("offers", pk=job.pk)
    links.for_booking(booking, now=now)
    judge_booking(booking, now=now)
    until = say_moment(now + HOLD_FOR, job.site.tz)
    when = say_moment(offer.plan.start, job.site.tz)
    messages.success(request, f"{when} with {offer.crew} is held until {until}.")
    return redirect("take-in-rest", pk=job.pk)


def _show(
    request: OfficeRequest,
    form: QuickForm,
    *,
    now: datetime,
    offers: Offers | None = None,
    status: int = 200,
) -> HttpResponse:
    context: dict[str, object] = {"form": form, "offers": offers, "now": now}
    if offers is not None:
        zone = offers.setting.zone
        place = offers.setting.forecast.place if offers.setting.forecast else None
        age = forecast_age(place, now=now, zone=zone) if place else ""
        context |= {"job": offers.setting.job, "zone": zone, "age": age}
    return render(request, "dispatch/quick.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@office(*DESK)
def take_in_rest(request: OfficeRequest, pk: int) -> HttpResponse:
    """Name, street and the rest of a floor whose day is held."""
    now = timezone.now()
    mine = Job.objects.visible_to(request.user).of_branch(request.branch)
    job = get_object_or_404(mine.select_related("customer", "site", "system"), pk=pk)
    booking = job.bookings.filter(state__in=["held", "booked"]).first()
    if request.method != "POST":
        known = {"telephone": job.customer.telephone, "color": job.color}
        return _show_rest(request, job, RestForm(initial=known), now=now)
    form = RestForm(data=request.POST)
    form.full_clean()
    try:
        describing.take_in_the_rest(
            branch=request.branch,
            job_id=job.pk,
            version=typed_number(request.POST.get("version")),
            rest=form.rest(),
            by=access.person(request.user),
            now=now,
        )
    except Invalid as refusal:
        form.tell(refusal.problems)
        return _show_rest(request, job, form, now=now, status=422)
    messages.success(request, "Taken in. The hold becomes a booking with one more press.")
    return redirect("booking", pk=booking.pk) if booking else redirect("offers", pk=job.pk)


def _show_rest(
    request: OfficeRequest, job: Job, form: RestForm, *, now: datetime, status: int = 200
) -> HttpResponse:
    booking = job.bookings.filter(state__in=["held", "booked"]).first()
    first = booking.stints.order_by("number").first() if booking else None
    context = {
        "job": job,
        "form": form,
        "booking": booking,
        "first": first,
        "zone": job.site.tz,
        "now": now,
    }
    return render(request, "dispatch/take_in_rest.html", context, status=status)
