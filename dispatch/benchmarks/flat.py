"""Whether a request costs the same after years: 4,000 bookings gone by against 400,000.

Forty branches share the history; what is asked for, and every booking of the last two months and
ahead, is the same both times. Times are this process's own, in which SQLite works as well. The
baseline is the plain walk over a branch's stints.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import partial
from itertools import count
from time import process_time
from typing import Any

from django.test import Client
from django.utils import timezone

from dispatch.benchmarks.company import Office, enter, open_branch
from dispatch.benchmarks.feeds import enter_all
from dispatch.benchmarks.history import QUARTERS, marks, quarter, repeat
from dispatch.benchmarks.measuring import Measured, measured, spread
from dispatch.benchmarks.offer_rows import floors_waiting
from dispatch.benchmarks.weeks import BOOKED_A_CREW, PASSWORD, busy, plain_week, signed_in
from dispatch.models import Link, LinkPurpose, Stint
from dispatch.rules.asking import Ask, PlannedStint, Promised
from dispatch.rules.firmness import Firmness
from dispatch.services import bookings, sending, verdicts
from dispatch.services.links import make_link
from jobs.access import PROGRAM

MOST_RATIO = 1.3
BASELINE = "a plain walk over all stints of the branch"
WARM = 3
BEYOND = timedelta(days=100)  # where nothing is booked yet
Asks = dict[str, Callable[[], object]]


@dataclass(frozen=True)
class Size:
    """Bookings gone by before and after, and the company that they are spread over."""

    few: int = 4_000
    many: int = 400_000
    branches: int = 40
    crews: int = 400
    times: int = 25
    seed: int = 7


def run(size: Size) -> dict[str, Any]:
    """Each request's figures with the long history, and how many times as long it takes."""
    now = timezone.now()
    crews = size.crews // size.branches
    offices = [
        open_branch(number, crews=crews, password=PASSWORD, now=now)
        for number in range(size.branches)
    ]
    first = offices[0]
    chosen = quarter(offices, floors=size.many // QUARTERS, seed=size.seed, now=now)
    share = size.few // size.branches
    few = sum(enter(office, days[-share:], seed=size.seed, now=now) for office, days in chosen)
    since = marks()
    busy(first, bookings=BOOKED_A_CREW * crews, seed=size.seed, now=now)
    enter_all(first.branch, now=now)
    asks = _asks(first, size, now=now)
    before = _measured(asks, first, size, now=now)
    until = marks()
    more = sum(enter(office, days[:-share], seed=size.seed, now=now) for office, days in chosen)
    repeat(quarters=QUARTERS - 1, but=(since, until))
    after = _measured(asks, first, size, now=now)
    return {"few": few, "many": (few + more) * QUARTERS, **_told(before, after)}


def _told(before: dict[str, Measured], after: dict[str, Measured]) -> dict[str, Any]:
    """Both figures of every request; the ratio is that of the one that grew most."""
    told = {
        name: {
            **spread(long.took_ms),
            "queries": long.queries,
            "with_few_ms": round(before[name].median_ms, 2),
            "times_as_long": round(long.median_ms / before[name].median_ms, 2),
        }
        for name, long in after.items()
    }
    baseline = told.pop(BASELINE)
    most = max(each["times_as_long"] for each in told.values())
    return {
        "requests": told,
        "baseline": {"what": BASELINE, **baseline},
        "ratio": most,
        "met": most < MOST_RATIO,
    }


def _measured(asks: Asks, office: Office, size: Size, *, now: datetime) -> dict[str, Measured]:
    walk = partial(plain_week, office.branch, now)
    return {
        **{
            name: measured(ask, times=size.times, warm=WARM, clock=process_time)
            for name, ask in asks.items()
        },
        BASELINE: measured(walk, times=3, warm=0, clock=process_time),
    }


def _asks(office: Office, size: Size, *, now: datetime) -> Asks:
    """What is asked for: pages of the office, secret addresses, background work and a booking."""
    branch = office.branch
    client, stranger = signed_in(branch), Client()
    stint = Stint.objects.open().of_branch(branch).filter(start__gt=now).earliest("start", "pk")
    (waiting,) = floors_waiting(branch, office.system, count=1, seed=size.seed, now=now)
    pages = {
        "week": "/",
        "what needs a person": "/needs/",
        "waiting floors": "/floors/",
        "best days": f"/floors/{waiting.pk}/days/",
        "booking": f"/bookings/{stint.booking_id}/",
        "day sheet": f"/stints/{stint.pk}/sheet/",
        "final call": "/final-call/",
        "mail": "/mail/",
        "crews": "/crews/",
    }
    crew = office.teams[0].crew
    secret = {
        "crew's calendar": f"/feeds/{_link(office, LinkPurpose.FEED, crew, now).token}.ics",
        "crew's phone": f"/p/{_link(office, LinkPurpose.PHONE, crew, now).token}/",
    }
    return {
        **{name: partial(_page, client, path) for name, path in pages.items()},
        **{name: partial(_page, stranger, path) for name, path in secret.items()},
        "due mail": partial(sending.send_due, now=now),
        "due verdicts": partial(verdicts.judge_due, now=now),
        "book": _booking(office, size, now=now),
    }


def _link(office: Office, purpose: LinkPurpose, crew: Any, now: datetime) -> Link:
    return make_link(
        branch=office.branch, purpose=purpose, name="Measured", by=PROGRAM, now=now, crew=crew
    )


def _page(client: Client, path: str) -> None:
    status = client.get(path).status_code
    if status != 200:
        raise RuntimeError(f"{path} answered {status}.")


def _booking(office: Office, size: Size, *, now: datetime) -> Callable[[], object]:
    """Each time another waiting floor is booked, on another day of one crew."""
    branch, team = office.branch, office.teams[0]
    jobs = floors_waiting(
        branch, office.system, count=2 * (size.times + WARM + 1), seed=size.seed, now=now
    )
    days = count()

    def book() -> None:
        number = next(days)
        start = branch.at(branch.today(now) + BEYOND + timedelta(days=number), time(8))
        stint = PlannedStint(
            crew_id=team.crew.pk,
            start=start,
            end=start + timedelta(hours=8),
            machine_ids=(team.grinder,),
            installer_ids=team.people,
        )
        promised = Promised(level=Firmness.PLANNED, walk_on_at=None, drive_on_at=None)
        job = jobs[number]
        bookings.book(
            branch=branch, job_id=job.pk, version=job.version,
            ask=Ask(stints=(stint,), promised=promised), by=PROGRAM, now=now,
        )  # fmt: skip

    return book
