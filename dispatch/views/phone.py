"""The crew's phone by secret address, and the same day sheet for whoever is signed in."""

from datetime import datetime

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from dispatch.models import Booking, Crew, Link, LinkPurpose, Notice, NoticeKind, StampKind, Stint
from dispatch.reads import day_sheet as reads
from dispatch.reads.forecast_age import stale
from dispatch.reads.on_site import on_site
from dispatch.services import due_letters, links, receipts, stamps
from dispatch.services.verdicts import judge_booking
from dispatch.typed_reading import typed_reading
from dispatch.views.customer import secret
from dispatch.views.entrance import OfficeRequest, office
from jobs.access import Actor
from jobs.models import ActorKind
from jobs.models.branches import Units
from jobs.refusals import Invalid, Refusal
from jobs.rules.clock import say_span
from jobs.services import readings


@secret
@require_safe
def crew(request: HttpRequest, token: str) -> HttpResponse:
    """The crew's days from today on; changes nobody has confirmed stand first."""
    now = timezone.now()
    link = _link(token)
    links.note_read(link, now=now)
    whose = _crew_of(link)
    stints = reads.stints_of_crew(whose, now=now)
    today = link.branch.today(now)
    rows = [
        {
            "stint": stint,
            "when": say_span(stint.start, stint.end, stint.booking.job.site.tz),
            "today": stint.start.astimezone(stint.booking.job.site.tz).date() == today,
            "verdict": stint.verdicts.filter(latest=True).first(),
        }
        for stint in stints
    ]
    context = {
        "crew": whose,
        "branch": link.branch,
        "rows": rows,
        "token": token,
        "now": now,
        "unseen": reads.unseen_of(whose, now=now),
        "stale": stale(link.branch, now=now),
    }
    return render(request, "dispatch/phone.html", context)


@secret
@require_safe
def sheet(request: HttpRequest, token: str, stint: int) -> HttpResponse:
    """One day's sheet. Reading it is no receipt: that takes a press."""
    return _show_sheet(request, _link(token), stint)


@secret
@require_POST
def seen(request: HttpRequest, token: str, notice: int) -> HttpResponse:
    """The crew has seen a change."""
    link = _link(token)
    found = get_object_or_404(
        Notice.objects.of_branch(link.branch),
        pk=notice,
        kind=NoticeKind.CREW_CHANGE,
        facts__crew=_crew_of(link).pk,
    )
    receipts.seen(found, by=_crew(link), now=timezone.now())
    back = request.POST.get("stint", "")
    if back.isdecimal() and _stint(link, int(back)) is not None:
        return redirect("phone-sheet", token=token, stint=int(back))
    return redirect("phone", token=token)


@secret
@require_POST
def stamp(request: HttpRequest, token: str, stint: int) -> HttpResponse:
    """One of the four moments of the day happened now; pressing twice changes nothing."""
    link = _link(token)
    found = _stint(link, stint)
    kind = request.POST.get("kind", "")
    if found is None or kind not in StampKind.values:
        raise Http404("There is no such day on this phone.")
    try:
        stamps.stamp(found, kind=StampKind(kind), by=_crew(link), now=timezone.now())
    except Refusal as refusal:
        return _show_sheet(request, link, stint, refusal=refusal)
    return redirect("phone-sheet", token=token, stint=stint)


@secret
@require_POST
def on_the_way(request: HttpRequest, token: str, stint: int) -> HttpResponse:
    """The crew has set out, and the customer is told; pressing twice changes nothing."""
    link = _link(token)
    if _stint(link, stint) is None:
        raise Http404("There is no such day on this phone.")
    try:
        due_letters.on_the_way(stint, by=_crew(link), now=timezone.now())
    except Refusal as refusal:
        return _show_sheet(request, link, stint, refusal=refusal)
    return redirect("phone-sheet", token=token, stint=stint)


@secret
@require_POST
def reading(request: HttpRequest, token: str, stint: int) -> HttpResponse:
    """The crew keeps what it read on the floor; sent twice it is kept once."""
    link, now = _link(token), timezone.now()
    found = _stint(link, stint)
    if found is None:
        raise Http404("There is no such day on this phone.")
    job = found.booking.job
    us = link.branch.units == Units.US
    try:
        floor_id, new = typed_reading(request.POST, us=us, zone=job.site.tz, now=now)
        if not job.floors.filter(pk=floor_id).exists():
            raise Invalid({"floor": "Choose the floor that was read."})
        readings.enter(branch=link.branch, floor_id=floor_id, new=new, by=_crew(link), now=now)
    except Refusal as refusal:
        return _show_sheet(request, link, stint, refusal=refusal)
    judge_booking(Booking.objects.with_job().get(pk=found.booking_id), now=now)
    return redirect("phone-sheet", token=token, stint=stint)


@require_safe
@office()
def day_sheet(request: OfficeRequest, pk: int) -> HttpResponse:
    """The same sheet for whoever is signed in; stamps are for the crew's phone."""
    stint = get_object_or_404(Stint.objects.of_branch(request.branch).with_all(), pk=pk)
    now, job = timezone.now(), stint.booking.job
    shown, site = reads.day_sheet(stint, now=now), on_site(job, now=now)
    context = {"sheet": shown, "site": site, "stint": stint, "job": job, "token": ""}
    return render(request, "dispatch/day_sheet.html", context)


def _show_sheet(
    request: HttpRequest, link: Link, pk: int, *, refusal: Refusal | None = None
) -> HttpResponse:
    stint = _stint(link, pk)
    if stint is None:
        raise Http404("There is no such day on this phone.")
    now, job = timezone.now(), stint.booking.job
    context = {
        "sheet": reads.day_sheet(stint, now=now),
        "site": on_site(job, now=now),
        "stint": stint,
        "job": job,
        "branch": link.branch,
        "token": link.token,
        "setting_out": _setting_out(stint, now=now),
        "refusal": refusal,
    }
    status = refusal.status if refusal else 200
    return render(request, "dispatch/phone_sheet.html", context, status=status)


def _setting_out(stint: Stint, *, now: datetime) -> str:
    """Whether the crew may still say that it is on its way: "yes", "said", or nothing."""
    if not due_letters.may_say_on_the_way(stint, now=now) or stint.stamps.exists():
        return ""
    return "said" if stint.notices.filter(kind=NoticeKind.ON_THE_WAY).exists() else "yes"


def _link(token: str) -> Link:
    live = Link.objects.live(timezone.now()).select_related("branch", "crew__branch")
    link = live.find(token, LinkPurpose.PHONE)
    if link is None:
        raise Http404("There is no such page.")
    return link


def _crew_of(link: Link) -> Crew:
    """The crew of a phone's link, which always has one."""
    if link.crew is None:
        raise Http404("There is no such page.")
    return link.crew


def _stint(link: Link, pk: int) -> Stint | None:
    found: Stint | None = (
        Stint.objects.filter(crew=_crew_of(link), pk=pk)
        .with_all()
        .prefetch_related("stamps")
        .first()
    )
    return found


def _crew(link: Link) -> Actor:
    return Actor(kind=ActorKind.CREW, name=f"{link.crew}, {link.name}")
