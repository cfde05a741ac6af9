"""How long the best days take: 200 crews, 90 days, 10,000 bookings, beside a plain walk.

All is invented from a seed. `computing` is the work on the prepared arrays, from a caller's
floor to the ranked candidates of all crews and days; `request` is the whole page as a browser
gets it, with its queries, the exact stages and verdicts of the days shown and its HTML.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from math import isnan
from statistics import median
from typing import Any

from django.test import Client
from django.utils import timezone

from dispatch.benchmarks.measuring import Measured, measured, spread, timed
from dispatch.benchmarks.offer_rows import Office, callers, office
from dispatch.models import Crew
from dispatch.reads import free_time
from dispatch.reads.offer_screen import Screen
from dispatch.reads.offer_search import Search
from dispatch.rules.free_time import NEVER
from jobs.models import Branch, Job
from jobs.rules.many_starts import ManyPlans

TARGETS_MS = {"computing_ms": 5.0, "request_ms": 60.0}


@dataclass(frozen=True)
class Size:
    """How much is invented and how often is asked."""

    crews: int = 200
    bookings: int = 10_000
    callers: int = 60
    seed: int = 7


def run(size: Size) -> dict[str, Any]:
    """The measured times in ms, with the targets and whether each is met."""
    now = timezone.now()
    made = office(crews=size.crews, bookings=size.bookings, seed=size.seed, now=now)
    branch = made.branch
    built_ms, _ = timed(partial(free_time.prepared, branch, now=now))
    asked = callers(made, count=size.callers, seed=size.seed, now=now)
    jobs = list(Job.objects.with_floors().filter(pk__in=[job.pk for job in asked]))
    screens = [_screen(job, now=now) for job in jobs]
    computing = [timed(partial(getattr, screen, "candidates"))[0] for screen in screens]
    found = sum(len(screen.candidates) for screen in screens)
    walks = [timed(partial(plain_walk, job, now=now)) for job in jobs[:3]]
    walk_ms = [took for took, _ in walks]
    requests = _requests(made, jobs)
    medians = {"computing_ms": median(computing), "request_ms": requests.median_ms}
    return {
        "crews": size.crews,
        "days": free_time.AHEAD_DAYS,
        "bookings": made.bookings,
        "crew_days_free": int((free_time.prepared(branch, now=now).free.start != NEVER).sum()),
        "candidates_a_caller": round(found / len(screens)),
        "arrays_built_ms": round(built_ms, 1),
        "arrays_renewed_after_a_booking_ms": round(_renewed(branch, now=now), 1),
        "computing": spread(computing),
        "request": {**spread(requests.took_ms), "queries": requests.queries},
        "baseline": {
            "what": "a plain walk over the same calendar, by crew, day and start",
            **spread(walk_ms),
            "candidates": round(median(count for _, count in walks)),
        },
        "ratio": round(median(walk_ms) / medians["computing_ms"], 1),
        "targets_ms": TARGETS_MS,
        "met": {name: medians[name] <= most for name, most in TARGETS_MS.items()},
    }


def _screen(job: Job, *, now: datetime) -> Screen:
    """A screen whose calendar and slabs are warm and whose arrays are still to be worked out."""
    search = Search(job=job, now=now, moving=None)
    search.setting.coldest(now + timedelta(days=100))
    return search.screen


def _requests(made: Office, jobs: list[Job]) -> Measured:
    """The page of one caller after the other."""
    client = Client()
    client.force_login(made.user)
    waiting = iter([jobs[0], *jobs])

    def ask() -> None:
        answer = client.get(f"/floors/{next(waiting).pk}/days/")
        if answer.status_code != 200:
            raise RuntimeError(f"The page of the best days answered {answer.status_code}.")

    warm = max(1, len(jobs) // 10)  # the first ones load templates
    return measured(ask, times=len(jobs) - warm, warm=warm)


def _renewed(branch: Branch, *, now: datetime) -> float:
    """One day of all crews worked out again, as after a booking (ms)."""
    held = free_time.prepared(branch, now=now)
    return timed(partial(free_time.renewed, held, held.staff, {30}))[0]


def plain_walk(job: Job, *, now: datetime) -> int:
    """The same question asked crew by crew, day by day and start by start; how many fit."""
    search = Search(job=job, now=now, moving=None)
    screen, staff = search.screen, search.staff
    plans = {size: screen.plans(size) for size in (2, 3)}
    fitting = 0
    for number, day in enumerate(screen.days):
        if search.site_days.closed(day):
            continue
        for crew in staff.crews:
            plan = plans.get(len(staff.team(crew, day)))
            if plan is not None and _fits(search, crew, plan, number):
                fitting += 1
    return fitting


def _fits(search: Search, crew: Crew, plans: ManyPlans, number: int) -> bool:
    """Whether any start of one crew's day is free and ends in time."""
    latest = search.site_days.latest(search.screen.days[number])
    base = search.setting.hours.start
    starts = len(plans.start_h) // len(search.screen.days)
    for row in range(number * starts, (number + 1) * starts):
        begins, ends = float(plans.start_h[row]), float(plans.end_h[row])
        if isnan(begins) or isnan(ends):
            continue
        start, end = base + timedelta(hours=begins), base + timedelta(hours=ends)
        if end > latest:
            return False
        if search.staff.free([crew.resource_id], start, end):
            return True
    return False
