"""How long a poll of a calendar feed takes: 400 events, whole and not modified.

The baseline makes the events anew at each poll from the rows of the bookings, stint by stint,
in place of the stored entries.
"""

from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

from django.http import HttpResponse
from django.test import Client
from django.utils import timezone

from dispatch import calendars
from dispatch.benchmarks.measuring import beside, measured, spread
from dispatch.benchmarks.offer_rows import office
from dispatch.models import CalendarEntry, Link, LinkPurpose, Stint
from dispatch.reads.feed import crew_feed, feed_name, work_visit
from dispatch.services import entries
from dispatch.services.links import make_link
from jobs.access import PROGRAM
from jobs.models import Branch

CREWS = 10


@dataclass(frozen=True)
class Size:
    """How many events the feed has."""

    events: int = 400
    times: int = 40
    seed: int = 7


def run(size: Size) -> dict[str, Any]:
    """The figures of both answers, of reading alone, and of the baseline."""
    now = timezone.now()
    branch = office(crews=CREWS, bookings=size.events, seed=size.seed, now=now).branch
    enter_all(branch, now=now)
    link = make_link(branch=branch, purpose=LinkPurpose.FEED, name="Wall", by=PROGRAM, now=now)
    client, path = Client(), f"/feeds/{link.token}.ics"
    first = _asked(client, path, status=200)
    again = partial(_asked, client, path, status=304, known=first["ETag"])
    whole = measured(partial(_asked, client, path, status=200), times=size.times)
    same = measured(again, times=size.times)
    ours = measured(partial(crew_feed, link, now=now), times=size.times)
    naive = measured(partial(plain_feed, link, now), times=2, warm=0)
    return {
        "events": first.content.count(b"BEGIN:VEVENT"),
        "whole": {**spread(whole.took_ms), "queries": whole.queries, "bytes": len(first.content)},
        "not_modified": {
            **spread(same.took_ms),
            "queries": same.queries,
            "bytes": len(again().content),
        },
        **beside(ours=ours, naive=naive, naive_words="events made anew from each booking's rows"),
    }


def enter_all(branch: Branch, *, now: datetime) -> None:
    """Calendar entries of every stint of the branch that has none yet."""
    without = Stint.objects.of_branch(branch).filter(entries__isnull=True)
    CalendarEntry.objects.bulk_create(
        entry
        for stint in without.with_all().order_by("pk")
        for entry in entries.first_of(stint, now=now)
    )


def _asked(client: Client, path: str, *, status: int, known: str = "") -> HttpResponse:
    answer: Any = client.get(path, headers={"If-None-Match": known} if known else None)
    if answer.status_code != status:
        raise RuntimeError(f"The feed answered {answer.status_code}, not {status}.")
    return answer  # type: ignore[no-any-return]


def plain_feed(link: Link, now: datetime) -> bytes:
    """The same feed without stored entries: what each stint looks like, worked out again."""
    branch = link.branch
    visits = []
    for stint in Stint.objects.filter(booking__branch=branch).order_by("start"):
        wanted = {each.audience: each for each in entries.first_of(stint, now=now)}
        entry = wanted[f"branch:{branch.pk}"]
        entry.stint = stint
        visits.append(work_visit(entry))
    return calendars.feed(name=feed_name(link), zone=branch.zone, visits=visits)
