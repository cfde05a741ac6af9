"""The office's page of weather services, and its table of wet months."""

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from dispatch.reads import weather_services as read
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import Role
from jobs.refusals import Refusal
from jobs.services.wet_months import set_wet_months
from weather import behaviour

DESK = (Role.OWNER, Role.OFFICE)


@require_safe
@office(*DESK)
def services(request: OfficeRequest) -> HttpResponse:
    """Which services are asked, how they stand with us, and how old each place's forecast is."""
    return _show(request)


@require_POST
@office(*DESK)
def wet_months(request: OfficeRequest) -> HttpResponse:
    """Keep the branch's own table of wet days by month."""
    typed = {str(n): request.POST.get(f"month-{n}", "") for n in range(1, 13)}
    try:
        set_wet_months(
            branch=request.branch,
            typed=typed,
            by=access.person(request.user),
            now=timezone.now(),
        )
    except Refusal as refusal:
        return _show(request, refusal=str(refusal), status=refusal.status)
    messages.success(request, "The table of wet months is saved.")
    return redirect("weather-services")


def _show(request: OfficeRequest, *, refusal: str = "", status: int = 200) -> HttpResponse:
    now = timezone.now()
    context = {
        "services": read.services(now=now),
        "places": read.places(request.branch, now=now),
        "months": read.months(request.branch),
        "contact": settings.FORECAST_CONTACT,
        "clocks": behaviour.clocks_apart(),
        "refusal": refusal,
        "zone": request.branch.tz,
        "now": now,
    }
    return render(request, "dispatch/weather_services.html", context, status=status)
