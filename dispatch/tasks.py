"""Celery tasks: the same functions as `manage.py work`, woken by a clock. Safe to run twice."""

from celery import shared_task
from django.utils import timezone

from dispatch.services import bookings, sending, verdicts
from dispatch.services import round as work


@shared_task  # type: ignore[untyped-decorator]
def judge_due() -> int:
    """Lapse holds, then judge what has a new forecast."""
    now = timezone.now()
    work.beat("verdicts", now=now)
    bookings.lapse_holds(now=now)
    verdicts.watch_coated(now=now)
    return verdicts.judge_due(now=now)


@shared_task  # type: ignore[untyped-decorator]
def send_due() -> int:
    """Send the notices that are due."""
    now = timezone.now()
    work.beat("notices", now=now)
    return sending.send_due(now=now)


@shared_task  # type: ignore[untyped-decorator]
def refresh_forecasts() -> int:
    """Fetch the forecasts that are due for every depot and every open site."""
    now = timezone.now()
    work.beat("forecast", now=now)
    return work.refresh_forecasts(now=now)


@shared_task  # type: ignore[untyped-decorator]
def refresh_prune() -> int:
    """Delete weather that nobody asks for any more."""
    return work.prune_weather(now=timezone.now())
