"""Addresses for tests of what crew and customer see, with the one office page they point to."""

from django.http import HttpRequest, HttpResponse
from django.urls import include, path


def stand_in(_request: HttpRequest, **_given: object) -> HttpResponse:
    """Some office page."""
    return HttpResponse("office")


urlpatterns = [
    path("", include("dispatch.urls_secret")),
    path("stints/<int:pk>/sheet/", stand_in, name="day-sheet"),
]
