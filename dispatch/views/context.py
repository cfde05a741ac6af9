"""What every page's frame needs: the branch, the source of the weather, what waits."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from dispatch.reads import needs
from dispatch.views.entrance import chosen_branch
from jobs import access

ATTRIBUTION = {
    "live": [
        "Forecast: US National Weather Service.",
        "Weather data from MET Norway (CC BY 4.0), modified.",
    ],
    "replay": ["Weather: a replay of invented forecasts. It is not the weather outside."],
}


def house(request: HttpRequest) -> dict[str, Any]:
    """Context of every page."""
    frame: dict[str, Any] = {
        "replay": settings.FORECASTS == "replay",
        "attribution": ATTRIBUTION[settings.FORECASTS],
        "demo": settings.DEMO,
    }
    user = getattr(request, "user", None)
    if user is not None and user.is_authenticated:
        branch = getattr(request, "branch", None) or chosen_branch(request)
        frame["signed_in"] = True
        frame["branch"] = branch
        frame["branches"] = access.branches_of(user)
        frame["needs_count"] = needs.count(branch) if branch else 0
    return frame
