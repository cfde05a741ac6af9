"""Wrong secret addresses: who tries many is refused in a few bytes; right ones are served.

A secret of 256 bits is not found by trying. This keeps whoever tries from costing anything.
"""

from datetime import datetime

from django.core.cache import cache
from django.http import HttpRequest, HttpResponse

# So many wrong addresses a minute from one place; people who mistype do not come near.
WRONG_A_MINUTE = 30
MINUTE_S = 60


def too_many_wrong(request: HttpRequest, *, now: datetime) -> bool:
    """Count one more wrong address; whether its sender has tried too many in this minute.

    Counted in each process by itself, so that a flood writes nothing to the database.
    """
    minute = int(now.timestamp()) // MINUTE_S
    key = f"wrong:{request.META.get('REMOTE_ADDR', '')}:{minute}"
    cache.add(key, 0, timeout=2 * MINUTE_S)
    try:
        return bool(cache.incr(key) > WRONG_A_MINUTE)
    except ValueError:  # it was dropped in between
        return False


def refusal_of(request: HttpRequest, *, now: datetime) -> HttpResponse:
    """404 with nothing in it, or 429 to whoever tries many."""
    if not too_many_wrong(request, now=now):
        return HttpResponse(status=404)
    return wait_a_minute()


def wait_a_minute() -> HttpResponse:
    """429 in a few bytes."""
    answer = HttpResponse(status=429)
    answer["Retry-After"] = str(MINUTE_S)
    return answer
