"""The office makes, replaces and stops the secret links of a crew's phones and calendars."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from dispatch.models import Crew, Link, LinkPurpose
from dispatch.services import links
from dispatch.views.entrance import OfficeRequest, office
from jobs import access
from jobs.models import Role
from jobs.refusals import Refusal
from jobs.text import one_line

OF_A_CREW = (LinkPurpose.PHONE, LinkPurpose.FEED)
LONGEST_NAME = 80


@require_POST
@office(Role.OWNER, Role.OFFICE)
def make(request: OfficeRequest, pk: int) -> HttpResponse:
    """A new link for one phone or one calendar of a crew, named so that it can be found again."""
    crew = get_object_or_404(Crew.objects.of_branch(request.branch).working(), pk=pk)
    name = one_line(request.POST.get("name", ""), most=LONGEST_NAME)
    if not name:
        raise Refusal("Please name the phone or calendar, such as “lead's phone”.", field="name")
    purpose = request.POST.get("purpose", "")
    if purpose not in OF_A_CREW:
        raise Refusal("Please choose a phone or a calendar.", field="purpose")
    links.make_link(
        branch=request.branch,
        purpose=LinkPurpose(purpose),
        name=name,
        crew=crew,
        by=access.person(request.user),
        now=timezone.now(),
    )
    messages.success(request, f"A link for “{name}” stands under {crew}.")
    return redirect("crews")


@require_POST
@office(Role.OWNER, Role.OFFICE)
def replace(request: OfficeRequest, pk: int) -> HttpResponse:
    """A new address in place of one that got into wrong hands; the old one stops at once."""
    link = links.rotate(_link(request, pk), by=access.person(request.user), now=timezone.now())
    messages.success(request, f"“{link.name}” has a new address; the old one stopped.")
    return redirect(_back(request))


@require_POST
@office(Role.OWNER, Role.OFFICE)
def stop(request: OfficeRequest, pk: int) -> HttpResponse:
    """Stop a link for good."""
    link = links.revoke(_link(request, pk), by=access.person(request.user), now=timezone.now())
    messages.success(request, f"“{link.name}” opens nothing any more.")
    return redirect(_back(request))


def _back(request: OfficeRequest) -> str:
    """The page the button stood on."""
    return "feed-links" if request.POST.get("back") == "feed-links" else "crews"


def _link(request: OfficeRequest, pk: int) -> Link:
    mine = Link.objects.of_branch(request.branch).filter(revoked_at__isnull=True)
    link: Link = get_object_or_404(mine, pk=pk, purpose__in=OF_A_CREW)
    return link
