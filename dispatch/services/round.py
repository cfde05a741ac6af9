"""One round of background work: whatever is due, done once however often it is asked."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import ProtectedError

from dispatch.models import Stint, StoredVerdict
from dispatch.reads import pulse
from dispatch.services import (
    bookings,
    due_letters,
    planning,
    readiness,
    retention,
    sending,
    verdicts,
)
from jobs.models import Branch, Job
from weather import services as weather
from weather.models import Chore
from weather.services import Outcome, Wanted

PRUNE_EVERY = timedelta(hours=6)


@dataclass(frozen=True)
class Round:
    """What one round came to."""

    refreshed: int
    judged: int
    sent: int
    lapsed: int
    planned: int = 0


def refresh_forecasts(*, now: datetime) -> int:
    """Fetch what is due for every depot and every open site; return how many were new."""
    beat("forecast", now=now)
    results = weather.refresh_due(now=now, wanted=wanted(now=now))
    return sum(result.outcome is Outcome.STORED for result in results)


def wanted(*, now: datetime) -> list[Wanted]:
    """The places somebody needs weather for: depots and waiting floors always, sites by work.

    A floor that waits is fetched too, so that its caller is offered days on its own weather.
    """
    depots = Branch.objects.values_list("depot_place_id", flat=True)
    ahead = Stint.objects.open().filter(end__gt=now, start__lt=now + timedelta(days=11))
    sites = ahead.values_list("booking__job__site__place_id", "start")
    waiting = Job.objects.waiting().order_by().values_list("site__place_id", flat=True).distinct()
    return [Wanted(place_id=pk) for pk in {*depots, *waiting}] + [
        Wanted(place_id=pk, soonest_work=start) for pk, start in sites
    ]


def prune(*, now: datetime) -> int:
    """Every six hours, delete old weather; once a day, what else was kept long enough."""
    retention.sweep(now=now)
    return _prune_weather(now=now)


def _prune_weather(*, now: datetime) -> int:
    """Delete old weather; forecasts that a verdict rests on are kept."""
    if not Chore.claim("prune weather", every=PRUNE_EVERY, now=now):
        return 0
    # Without the empty ones, because NOT IN a list that holds a NULL is true of nothing.
    used = StoredVerdict.objects.filter(forecast__isnull=False).values("forecast_id")
    try:
        return weather.prune(now=now, used=used)
    except ProtectedError:  # a verdict came to rest on one just now; next time, then
        return 0


def beat(kind: str, *, now: datetime) -> None:
    """Note that work of this kind (`pulse.KINDS`) is being done; `reads/pulse.py` shows it."""
    Chore.claim(pulse.HEARTBEAT + kind, every=pulse.BEAT_EVERY, now=now)


def judge(*, now: datetime) -> tuple[int, int]:
    """Lapse holds, judge what has a new forecast, watch coated floors, ask what must be ready.

    Returns how many holds lapsed and how many bookings were judged.
    """
    beat("verdicts", now=now)
    lapsed = bookings.lapse_holds(now=now)
    judged = verdicts.judge_due(now=now)
    verdicts.watch_coated(now=now)
    readiness.ask_due(now=now)
    due_letters.owe_due(now=now)
    return lapsed, judged


def send(*, now: datetime) -> int:
    """Send the notices that are due; return how many went out."""
    beat("notices", now=now)
    return sending.send_due(now=now)


def plan(*, now: datetime) -> int:
    """Work out the plans that somebody asked for; return how many."""
    return planning.make_due(now=now)


def go_round(*, now: datetime) -> Round:
    """Everything that is due at `now`, in the order in which one thing feeds the next.

    Under Celery each of the five steps is a task of its own.
    """
    refreshed = refresh_forecasts(now=now)
    lapsed, judged = judge(now=now)
    sent = send(now=now)
    prune(now=now)
    return Round(refreshed=refreshed, judged=judged, sent=sent, lapsed=lapsed)
