"""Celery tasks: the steps of the round of `manage.py work`, woken by a clock. Safe to run twice."""

from celery import shared_task
from django.utils import timezone

from dispatch.services import round as work


@shared_task  # type: ignore[untyped-decorator]
def refresh_forecasts() -> int:
    """Fetch the forecasts that are due for every depot and every open site."""
    return work.refresh_forecasts(now=timezone.now())


@shared_task  # type: ignore[untyped-decorator]
def judge_due() -> int:
    """Lapse holds, judge what has a new forecast, watch coated floors, ask what must be ready."""
    _, judged = work.judge(now=timezone.now())
    return judged


@shared_task  # type: ignore[untyped-decorator]
def send_due() -> int:
    """Send the notices that are due."""
    return work.send(now=timezone.now())


@shared_task  # type: ignore[untyped-decorator]
def refresh_prune() -> int:
    """Delete weather that nobody asks for any more, and what was kept long enough."""
    return work.prune(now=timezone.now())


@shared_task  # type: ignore[untyped-decorator]
def plan_due() -> int:
    """Work out the plans that somebody asked for."""
    return work.plan(now=timezone.now())
