"""What is logged: one line a request with an id of its own, and no secret address in any line.

The id is taken from the proxy (`X-Request-ID`) or made here, sent back with the answer, shown
on the page that says something broke, and put on every line that is logged while the request
is worked on, so that a person's screenshot leads to the lines.
"""

import json
import logging
import re
import time
import uuid
from collections.abc import Callable
from contextvars import ContextVar
from datetime import UTC, datetime

from django.http import HttpRequest, HttpResponse

NO_REQUEST = "-"
HEADER = "X-Request-ID"
current_id: ContextVar[str] = ContextVar("request_id", default=NO_REQUEST)

_GIVEN = re.compile(r"[A-Za-z0-9-]{8,64}")
# Addresses that are their own key: customers' pages, crews' phones and feeds.
_SECRET_ADDRESS = re.compile(r"(/(?:c|p|feeds)/)[^/\s\"'?]+")
_MASKED = r"\1(secret)"

ASKED_BY_MONITORS = ("/healthz", "/readyz", "/metrics")

log = logging.getLogger("slabcast.requests")


class RequestLog:
    """Middleware, the outermost: gives the request its id and logs how it ended."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get(HEADER, "")
        name = given if _GIVEN.fullmatch(given) else uuid.uuid4().hex
        request.META["HTTP_X_REQUEST_ID"] = name  # for the page that says something broke
        token = current_id.set(name)
        began = time.monotonic()
        try:
            reply = self.get_response(request)
            reply[HEADER] = name
            _note(request, reply, seconds=time.monotonic() - began)
            return reply
        finally:
            current_id.reset(token)


def _note(request: HttpRequest, reply: HttpResponse, *, seconds: float) -> None:
    # The route and not the path: it names the page and can hold no secret.
    match = request.resolver_match
    route = f"/{match.route}" if match else "unknown address"
    level = logging.DEBUG if route in ASKED_BY_MONITORS else logging.INFO
    log.log(level, "%s %s %s in %.0f ms", request.method, route, reply.status_code, seconds * 1000)


def without_secrets(text: str) -> str:
    """The text with the key in each secret address taken out."""
    return _SECRET_ADDRESS.sub(_MASKED, text)


class Line(logging.Formatter):
    """A line for people: time, level, request, logger, message."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(request)s %(name)s %(message)s")

    def format(self, record: logging.LogRecord) -> str:
        """The whole entry, a traceback included, without secret addresses."""
        record.request = current_id.get()
        return without_secrets(super().format(record))


class Json(logging.Formatter):
    """A line for a collector of logs: one JSON object, times in UTC."""

    def format(self, record: logging.LogRecord) -> str:
        """The entry as JSON, without secret addresses."""
        entry = {
            "at": datetime.fromtimestamp(record.created, tz=UTC).isoformat(),
            "level": record.levelname,
            "logger": record.name,
            "request": current_id.get(),
            "message": record.getMessage(),
        }
        if record.exc_info:
            entry["traceback"] = self.formatException(record.exc_info)
        return without_secrets(json.dumps(entry, ensure_ascii=False))
