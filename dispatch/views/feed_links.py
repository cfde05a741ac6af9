"""Calendars to subscribe to: of the branch, its crews and its machines, each by secret links."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from dispatch.models import Crew, LinkPurpose, Machine
from dispatch.reads.feed_links import calendars_of
from dispatch.services import links
from dispatch.views.crew_links import LONGEST_NAME
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import Role
from jobs.refusals import Refusal
from jobs.text import one_line


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@office(Role.OWNER, Role.OFFICE)
def feed_links(request: OfficeRequest) -> HttpResponse:
    """Every calendar with its links and when each was fetched last; the form makes another."""
    if request.method == "POST":
        name = one_line(request.POST.get("name", ""), most=LONGEST_NAME)
        if not name:
            raise Refusal("Please name who subscribes, such as “lead's phone”.", field="name")
        _make(request, request.POST.get("of", ""), name)
        messages.success(request, f"A calendar link for “{name}” stands below.")
        return redirect("feed-links")
    context = {"calendars": calendars_of(request.branch), "now": timezone.now()}
    answer = render(request, "dispatch/feed_links.html", context)
    answer["Referrer-Policy"] = "no-referrer"  # the page shows secret addresses
    return answer


def _make(request: OfficeRequest, of: str, name: str) -> None:
    kind, _, pk = of.partition("-")
    number = int(pk) if pk.isdecimal() and len(pk) < 10 else 0
    crew = Crew.objects.of_branch(request.branch).working().filter(pk=number).first()
    machine = Machine.objects.filter(branch=request.branch, pk=number).first()
    wanted = {"branch": request.branch, "crew": crew, "machine": machine}.get(kind)
    if wanted is None:
        raise Refusal("Please choose whose calendar it is.", field="of")
    links.make_link(
        branch=request.branch,
        purpose=LinkPurpose.FEED,
        name=name,
        crew=crew if kind == "crew" else None,
        machine=machine if kind == "machine" else None,
        by=access.person(request.user),
        now=timezone.now(),
    )
