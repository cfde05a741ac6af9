"""Where the office's own settings are."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dispatch.views.entrance import OfficeRequest, office

ENTRIES = (
    ("passphrase", "Your passphrase", "the one you sign in with"),
    ("people", "People who sign in", "who they are and what they may do; for the owner"),
    ("programs", "Other programs", "tokens with which they speak to the API; for the owner"),
    ("files", "Files to take along", "days, floors, verdicts and stamps as CSV or JSON"),
    ("days-off", "Days off", "public holidays and the branch's own; for the office"),
    ("systems", "Coating systems", "cards with limits and times, prices, what is sold"),
    ("limits", "Limits and costs", "where a verdict turns, what a move and a ruined coat cost"),
    ("crews", "Crews and machines", "people, machines, absences, links of phones and calendars"),
    ("stock", "Stock", "lots of flake and resin in the depot"),
    ("letters", "Letters", "what customers are written, in which words; for the office"),
    ("feed-links", "Calendars", "who subscribes to which, and when it was fetched last"),
    ("weather-services", "Weather", "services, how old forecasts are, wet months"),
)


@require_safe
@office()
def settings(request: OfficeRequest) -> HttpResponse:
    """The pages on which an office keeps what it works with."""
    return render(request, "dispatch/settings.html", {"entries": ENTRIES})
