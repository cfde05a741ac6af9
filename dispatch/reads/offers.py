"""Offers: for one job the best days, each with its reasons, and why the other days are not."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from dispatch.reads.chain import Setting
from dispatch.reads.offer import Offer, RefusedDay
from dispatch.reads.offer_search import AHEAD_DAYS, Search
from jobs.models import Job

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
    return Offers(search.setting, tuple(offers[:BEST]), tuple(offers[BEST:]), tuple(refused))


def offer_for(job: Job, key: str, *, now: datetime, moving: int | None = None) -> Offer | None:
    """The offer a form named by its key, worked out afresh; None if it is no offer any more."""
    search = Search(job=job, now=now, moving=moving)
    for day in search.days():
        if f"@{day}" not in key and f"@{day + timedelta(days=1)}" not in key:
            continue
        for found in search.on(day):
            if isinstance(found, Offer) and found.key == key:
                return found
    return None


def _rank(offer: Offer) -> tuple[float, date, int]:
    return (offer.cost, offer.day, offer.crew.pk)
