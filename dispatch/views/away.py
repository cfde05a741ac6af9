"""The answer while the database is full, read only, crowded or away: 503, with the reason.

It must not ask the database for anything, not even who is signed in.
"""

import logging
import sys
from collections.abc import Callable
from http import HTTPStatus

from django.http import HttpRequest, HttpResponse, HttpResponseServerError, JsonResponse
from django.template.loader import render_to_string

from jobs.database_trouble import Trouble, trouble_of

log = logging.getLogger(__name__)

RETRY_AFTER_S = "5"
API = "/api/"


class DatabaseAway:
    """Middleware: an error of the database under a view becomes an answer with its reason."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """503 where the database is in trouble; None leaves a fault of ours as it is."""
        trouble = trouble_of(error)
        if trouble is None:
            return None
        log.error("503 for %s: %s", trouble.code, error)
        return answer(request, trouble)


def broken(request: HttpRequest) -> HttpResponse:
    """Whatever else ends a request: sessions and other middleware use the database, too.

    Django calls it while the error is being handled.
    """
    error = sys.exc_info()[1]
    trouble = trouble_of(error) if error is not None else None
    if trouble is not None:
        return answer(request, trouble)
    told = {"request_id": request.META.get("HTTP_X_REQUEST_ID", "")}
    return HttpResponseServerError(render_to_string("500.html", told))


def answer(request: HttpRequest, trouble: Trouble) -> HttpResponse:
    """A page, or problem details (RFC 9457) for a program; nothing of it is kept."""
    status = HTTPStatus.SERVICE_UNAVAILABLE
    reply: HttpResponse
    if request.path.startswith(API):
        problem = {
            "type": "about:blank",
            "title": status.phrase,
            "status": status,
            "code": trouble.code,
            "detail": trouble.value,
        }
        reply = JsonResponse(problem, status=status, content_type="application/problem+json")
    else:
        reply = HttpResponse(render_to_string("503.html", {"reason": trouble.value}), status=status)
    reply["Retry-After"] = RETRY_AFTER_S
    reply["Cache-Control"] = "no-store"
    return reply
