"""Offers: for one job the best days, each with its reasons, and why the other days are not."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from dispatch.models import Stint
from dispatch.reads.chain import Setting
from dispatch.reads.offer import Offer, RefusedDay
from dispatch.reads.offer_search import AHEAD_DAYS, Search
from jobs.models import Branch, Job
from jobs.rules.clock import say_span

BEST = 5


@dataclass(frozen=True, eq=False)
class Offers:
    """The best days of a job, best first, and the days that are not."""

    setting: Setting
    best: tuple[Offer, ...]
    others: tuple[Offer, ...]
    refused: tuple[RefusedDay, ...]

    @property
    def nothing(self) -> str:
        """Why there is no offer at all, or an empty string."""
        if self.best or not self.refused:
            return ""
        reasons = [each.why for each in self.refused if each.rank >= 2]
        common = max(set(reasons), key=reasons.count) if reasons else self.refused[0].why
        return f"No day can be offered in the next {AHEAD_DAYS} days. Mostly: {common}"


def best_days(job: Job, *, now: datetime, moving: int | None = None) -> Offers:
    """The five best days for `job` among its next three weeks; one offer a day, dearest last.

    `moving` is the id of a booking that is being moved, whose own time counts as free.
    """
    search = Search(job=job, now=now, moving=moving)
    offers: list[Offer] = []
    refused: list[RefusedDay] = []
    for day in search.days():
        found = list(search.on(day))
        good = sorted((f for f in found if isinstance(f, Offer)), key=_rank)
        if good:
            offers.append(good[0])
            continue
        whys = [f for f in found if isinstance(f, RefusedDay)]
        refused.append(max(whys, key=lambda each: each.rank))
    offers.sort(key=_rank)
    best = _with_doors(search, offers, refused)
    return Offers(search.setting, best, tuple(offers), tuple(refused))


def _with_doors(
    search: Search, offers: list[Offer], refused: list[RefusedDay]
) -> tuple[Offer, ...]:
    """The best days taken out of `offers`; one that the open garage door spoils is refused."""
    best: list[Offer] = []
    while offers and len(best) < BEST:
        found = search.with_door(offers.pop(0))
        if isinstance(found, Offer):
            best.append(found)
        else:
            refused.append(found)
    return tuple(sorted(best, key=_rank))


def offer_for(job: Job, key: str, *, now: datetime, moving: int | None = None) -> Offer | None:
    """The offer a form named by its key, worked out afresh; None if it is no offer any more."""
    try:
        start = datetime.fromisoformat(key.partition("@")[2])
        day = start.astimezone(job.branch.tz).date()
    except (ValueError, OverflowError):
        return None
    search = Search(job=job, now=now, moving=moving)
    if day not in search.days():
        return None
    for found in search.on(day):
        if isinstance(found, Offer) and found.key == key:
            booked = search.with_door(found)
            return booked if isinstance(booked, Offer) else None
    return None


def who_has(branch: Branch, key: str) -> str:
    """A sentence on who has the crew at the time that an offer's key names; empty if nobody."""
    try:
        crew_id, _, clock = key.partition("@")
        start = datetime.fromisoformat(clock)
        found = (
            Stint.objects.of_branch(branch)
            .open()
            .filter(crew_id=int(crew_id))
            .overlapping(start, start + timedelta(hours=1))
            .select_related("crew", "booking__job__customer", "booking__job__site")
            .first()
        )
    except (ValueError, TypeError, OverflowError):
        return ""
    if found is None:
        return ""
    job = found.booking.job
    span = say_span(found.start, found.end, job.site.tz)
    return f"{found.crew} is already booked {span}, for {job.customer} at {job.site.street}."


def _rank(offer: Offer) -> tuple[float, date, int]:
    return (offer.cost, offer.day, offer.crew.pk)
