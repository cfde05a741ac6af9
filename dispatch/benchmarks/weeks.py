"""How long a week takes: 40 crews and 40,000 bookings gone by, beside a plain walk over all.

`page` is the whole page as a browser gets it. The baseline reads every stint of the branch, keeps
those of the week, and asks for the job, the floors, the machines and the verdict of each.
"""

import random
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import partial
from typing import Any

from django.test import Client
from django.utils import timezone

from dispatch.benchmarks.company import Office, enter, open_branch
from dispatch.benchmarks.history import QUARTERS, quarter, repeat
from dispatch.benchmarks.measuring import beside, measured, spread
from dispatch.benchmarks.offer_rows import book_ahead
from dispatch.benchmarks.weather_rows import fair_weather
from dispatch.models import Installer, Machine, Stint, StoredVerdict
from dispatch.reads.week import DAYS, week_of
from jobs.models import Branch, Membership

PASSWORD = "dry slab before noon"  # noqa: S105  of a database that is thrown away
BOOKED_A_CREW = 25


@dataclass(frozen=True)
class Size:
    """How many crews, and how many bookings they have behind them."""

    crews: int = 40
    past: int = 40_000
    times: int = 40
    seed: int = 7


def run(size: Size) -> dict[str, Any]:
    """The figures of the page and of what it reads, with the baseline and the ratio."""
    now = timezone.now()
    office = open_branch(0, crews=size.crews, password=PASSWORD, now=now)
    ((_, chosen),) = quarter([office], floors=size.past // QUARTERS, seed=size.seed, now=now)
    behind = enter(office, chosen, seed=size.seed, now=now)
    repeat(quarters=QUARTERS - 1)
    ahead = busy(office, bookings=BOOKED_A_CREW * size.crews, seed=size.seed, now=now)
    branch = office.branch
    client = signed_in(branch)
    page = measured(partial(client.get, "/"), times=size.times, warm=3)
    ours = measured(partial(_read, branch, now), times=size.times)
    naive = measured(partial(plain_week, branch, now), times=3, warm=0)
    return {
        "crews": size.crews,
        "past": behind * QUARTERS,
        "ahead": ahead,
        "stints_in_the_week": sum(len(row.stints) for row in _read(branch, now).rows),
        "page": {**spread(page.took_ms), "queries": page.queries},
        **beside(
            ours=ours, naive=naive, naive_words="all stints read, each of the week asked about"
        ),
    }


def busy(office: Office, *, bookings: int, seed: int, now: datetime) -> int:
    """Weather for the depot and so many bookings ahead; how many there were crew-days for."""
    branch = office.branch
    fair_weather(branch.depot_place, now=now)
    people = Installer.objects.of_branch(branch).in_bulk()
    teams = [(team.crew, [people[pk] for pk in team.people]) for team in office.teams]
    grinders = list(Machine.objects.of_branch(branch).order_by("pk"))
    dice = random.Random(seed)  # noqa: S311  invented floors, no secret
    staff = (teams, grinders)
    return book_ahead(branch, office.system, staff, number=bookings, dice=dice, now=now)


def signed_in(branch: Branch) -> Client:
    """A browser in which the branch's owner is signed in."""
    client = Client()
    client.force_login(Membership.objects.filter(branch=branch).earliest("pk").user)
    return client


def _read(branch: Branch, now: datetime) -> Any:
    """The week as plain values: what the page draws."""
    return week_of(branch, day=branch.today(now), now=now).picture


def plain_week(branch: Branch, now: datetime) -> list[str]:
    """A line for each stint of the week, found by looking at every stint there ever was."""
    today = branch.today(now)
    first = branch.at(today - timedelta(days=today.weekday()), time(0))
    last = first + timedelta(days=DAYS)
    found = []
    for stint in Stint.objects.filter(booking__branch=branch):
        if stint.start >= last or stint.end <= first:
            continue
        job = stint.booking.job
        verdict = StoredVerdict.objects.filter(stint=stint, latest=True).first()
        floors = ", ".join(floor.name for floor in job.floors.all())
        machines = ", ".join(machine.name for machine in stint.machines.all())
        words = verdict.headline if verdict else ""
        found.append(f"{stint.crew}: {job.customer}, {job.site}, {floors}, {machines}: {words}")
    return found
