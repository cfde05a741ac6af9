"""Calendar feeds by secret address: 200 or 304 to a good one, and never a cookie."""

import gzip
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.cache import cache
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.http import http_date, parse_etags, parse_http_date_safe
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from dispatch.models import Link, LinkPurpose
from dispatch.reads import feed as reads
from dispatch.services import links
from dispatch.views.customer import hide_secret
from dispatch.views.wrong_links import refusal_of
from jobs.models.programs import digest

# A date of whole seconds says nothing of a second change within it (RFC 9110 section 8.8.2.2).
DATE_IS_SURE = timedelta(minutes=1)


@dataclass(frozen=True)
class Sent:
    """What this process sent last to an address; without a body where it only said "as before"."""

    name: str
    tag: str
    changed_at: datetime
    body: bytes | None


@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """A calendar by its address. An unknown address is 404, one that was replaced says so."""
    hide_secret(request, token)
    now = timezone.now()
    try:
        return _fresh(request, token, now=now)
    except DatabaseError:
        # One calendar program stops for good after a single 5xx, so with the database down the
        # subscriber gets what this process sent last; whoever has a copy is told to keep it.
        kept: Sent | None = cache.get(_key(token))
        if kept is not None and kept.body is not None:
            return _send(request, kept, kept.body)
        if request.headers.get("If-None-Match"):
            return _dressed(HttpResponse(status=304), request.headers["If-None-Match"])
        raise


def _fresh(request: HttpRequest, token: str, *, now: datetime) -> HttpResponse:
    of = Link.objects.select_related("branch", "crew", "machine")
    link = of.find(token, LinkPurpose.FEED)
    if link is None:
        return refusal_of(request, now=now)
    told = reads.told(link, now=now)
    if told is None:
        return HttpResponse(status=410)
    links.note_read(link, now=now)
    kept: Sent | None = cache.get(_key(token))
    body = kept.body if kept is not None and kept.tag == told.tag else None
    same = _holds(request, told, now=now)
    if body is None and not same:
        body = told.write()
    name = slugify(str(link.crew or link.machine or link.branch)) or "calendar"
    sent = Sent(name=name, tag=told.tag, changed_at=told.changed_at, body=body)
    if sent != kept:
        cache.set(_key(token), sent, timeout=None)
    if same or body is None:
        return _dressed(HttpResponse(status=304), _tag(request, told.tag), told.changed_at)
    return _send(request, sent, body)


def _key(token: str) -> str:
    return f"feed:{digest(token)}"


def _holds(request: HttpRequest, told: reads.Told, *, now: datetime) -> bool:
    """Whether the subscriber has these very bytes (weak comparison, RFC 9110 section 13.1.2)."""
    header = request.headers.get("If-None-Match")
    if header is not None:
        asked = {one.removeprefix("W/") for one in parse_etags(header)}
        return bool(asked & {f'"{told.tag}"', f'"{told.tag}-gzip"', "*"})
    since = parse_http_date_safe(request.headers.get("If-Modified-Since", ""))
    if since is None or now - told.changed_at < DATE_IS_SURE:
        return False
    return int(told.changed_at.timestamp()) <= since


def _zipped(request: HttpRequest) -> bool:
    return "gzip" in request.headers.get("Accept-Encoding", "").lower()


def _tag(request: HttpRequest, tag: str) -> str:
    return f'"{tag}-gzip"' if _zipped(request) else f'"{tag}"'


def _send(request: HttpRequest, sent: Sent, body: bytes) -> HttpResponse:
    packed = gzip.compress(body, mtime=0) if _zipped(request) else body
    shown = b"" if request.method == "HEAD" else packed
    answer = HttpResponse(shown, content_type="text/calendar; charset=utf-8")
    answer["Content-Length"] = str(len(packed))
    answer["Content-Disposition"] = f'inline; filename="{sent.name}.ics"'
    if _zipped(request):
        answer["Content-Encoding"] = "gzip"
    return _dressed(answer, _tag(request, sent.tag), sent.changed_at)


def _dressed(answer: HttpResponse, tag: str, changed_at: datetime | None = None) -> HttpResponse:
    """The headers that a 200 and a 304 have in common."""
    if answer.status_code == 304:
        del answer["Content-Type"]
    answer["ETag"] = tag
    if changed_at is not None:
        answer["Last-Modified"] = http_date(changed_at.timestamp())
    answer["Cache-Control"] = "private, no-cache"
    answer["Vary"] = "Accept-Encoding"
    answer["X-Robots-Tag"] = "noindex, nofollow"
    answer["Referrer-Policy"] = "no-referrer"
    return answer
