"""What every page's frame needs: the branch, the source of the weather, what waits."""

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone

from dispatch.reads import needs, weather_services
from dispatch.reads.forecast_age import stale
from dispatch.views.entrance import chosen_branch
from jobs import access
from jobs.models import Branch, Role
from weather.providers import LINKS, configured


@dataclass(frozen=True)
class Credit:
    """A line at the foot of a page: whom to thank for the weather, and where that leads."""

    text: str
    url: str


def house(request: HttpRequest) -> dict[str, Any]:
    """Context of every page."""
    frame: dict[str, Any] = {
        "replay": settings.FORECASTS == "replay",
        "attribution": _credits(None),
        "demo": settings.DEMO,
    }
    user = getattr(request, "user", None)
    if user is not None and user.is_authenticated:
        branch = getattr(request, "branch", None) or chosen_branch(request)
        frame["signed_in"] = True
        frame["branch"] = branch
        frame["branches"] = access.branches_of(user)
        frame["may_book"] = _role(request, branch) in access.OFFICE_ROLES
        frame["needs_count"] = needs.count(branch) if branch else 0
        frame["attribution"] = _credits(branch)
        frame["stale"] = stale(branch, now=timezone.now()) if branch else ""
    return frame


def _role(request: HttpRequest, branch: Branch | None) -> Role | None:
    """The role in the branch whose page this is; asked of the database where no guard did."""
    known: Role | None = getattr(request, "role", None)
    return known or (access.role_in(request.user, branch) if branch else None)


def _credits(branch: Branch | None) -> list[Credit]:
    """The sources whose weather the branch's pages show; all that may be where no branch is."""
    if branch is not None:
        texts = weather_services.credits_of(branch, now=timezone.now())
    elif settings.FORECASTS == "replay":
        texts = weather_services.credits_for(["replay"])
    else:
        texts = [service.credit for service in configured()]
    return [Credit(text, LINKS.get(text, "")) for text in texts]
