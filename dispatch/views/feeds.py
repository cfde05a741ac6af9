"""Calendar feeds by secret address: 200 or 304 to a good one, and never a cookie."""

import gzip
import hashlib
from datetime import datetime

from django.core.cache import cache
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.http import parse_etags
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from dispatch.models import Link, LinkPurpose
from dispatch.models.links import digest
from dispatch.reads import feed as reads
from dispatch.services import links
from dispatch.views.customer import hide_secret


@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """A crew's calendar. An unknown address is 404, one that was replaced says so."""
    # One calendar program stops for good after a single 5xx, so with the database down the
    # subscriber gets what this process sent last.
    hide_secret(request, token)
    key = f"feed:{digest(token)}"
    try:
        body, name = _body(token, now=timezone.now())
    except DatabaseError:
        kept = cache.get(key)
        if kept is None:
            raise
        body, name = kept
    else:
        if body is None:
            return HttpResponse(status=404 if name is None else 410)
        cache.set(key, (body, name), timeout=None)
    return _send(request, body, name or "calendar")


def _body(token: str, *, now: datetime) -> tuple[bytes | None, str | None]:
    """Bytes and file name; (None, None) for a stranger, (None, name) for one long revoked."""
    link = Link.objects.select_related("branch", "crew").find(token, LinkPurpose.FEED)
    if link is None:
        return None, None
    name = slugify(str(link.crew or link.branch)) or "calendar"
    if link.revoked_at is not None:
        return reads.replaced(link, now=now), name
    body = reads.crew_feed(link, now=now)
    links.note_read(link, now=now)
    return body, name


def _send(request: HttpRequest, body: bytes, name: str) -> HttpResponse:
    zipped = "gzip" in request.headers.get("Accept-Encoding", "").lower()
    tag = hashlib.sha256(body).hexdigest()[:32]
    tags = {f'"{tag}"', f'"{tag}-gzip"'}
    header = request.headers.get("If-None-Match", "")
    asked = {one.removeprefix("W/") for one in parse_etags(header)}  # weak comparison
    if asked & (tags | {"*"}):
        answer = HttpResponse(status=304)
        del answer["Content-Type"]
    else:
        packed = gzip.compress(body, mtime=0) if zipped else body
        sent = b"" if request.method == "HEAD" else packed
        answer = HttpResponse(sent, content_type="text/calendar; charset=utf-8")
        answer["Content-Length"] = str(len(packed))
        answer["Content-Disposition"] = f'inline; filename="{name}.ics"'
        if zipped:
            answer["Content-Encoding"] = "gzip"
    answer["ETag"] = f'"{tag}-gzip"' if zipped else f'"{tag}"'
    answer["Cache-Control"] = "private, no-cache"
    answer["Vary"] = "Accept-Encoding"
    answer["X-Robots-Tag"] = "noindex, nofollow"
    answer["Referrer-Policy"] = "no-referrer"
    return answer
