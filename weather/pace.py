"""A quiet pace at each host, held by all processes together through one row of the database."""

import time
from datetime import UTC, datetime, timedelta

from django.db import connection
from django.utils import timezone

from weather.models import HostTurn

LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)
# Nobody queues so long; a turn still later was written before somebody set the clock back.
LONGEST_QUEUE = timedelta(minutes=2)


def wait_for_turn(host: str, *, pace_s: float) -> float:
    """Take the next turn at `host`, `pace_s` after the one before, and sleep until it has come.

    Returns the seconds slept. No transaction may be open: it would be held all that time.
    """
    if pace_s <= 0:
        return 0.0
    if connection.in_atomic_block:
        raise RuntimeError("a forecast service is asked with no transaction open")
    waiting_s = _take(host, timedelta(seconds=pace_s))
    time.sleep(waiting_s)
    return waiting_s


def _take(host: str, pace: timedelta) -> float:
    """Seconds until the turn that is now ours: one conditional update, as often as others win."""
    HostTurn.objects.get_or_create(host=host, defaults={"free_at": LONG_AGO})
    mine = HostTurn.objects.filter(host=host)
    while True:
        now = timezone.now()
        free_at = mine.values_list("free_at", flat=True).get()
        turn = now if free_at > now + LONGEST_QUEUE else max(now, free_at)
        if mine.filter(free_at=free_at).update(free_at=turn + pace):
            return (turn - now).total_seconds()
