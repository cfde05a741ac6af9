"""Offers: for one job the best days, each with its reasons, and why the other days are not."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from dispatch.models import Stint
from dispatch.reads.chain import Setting, warm_doors
from dispatch.reads.large_floors import LargeAnswer, at_key, large_floor
from dispatch.reads.offer import NoOffer, Offer, Possible, RefusedDay
from dispatch.reads.offer_screen import Candidate
from dispatch.reads.offer_search import AHEAD_DAYS, Search
from jobs.described import Order
from jobs.models import Branch
from jobs.rules.clock import say_span

BEST = 5
CREWS_TRIED = 3  # on one day, before it is refused
WITHIN = 60.0  # a day this much dearer by the rough look may still turn out the cheaper


@dataclass(frozen=True, eq=False)
class Offers:
    """The best days of a job, best first, and the days that are not.

    `others` are laid out and judged like the best. `possible` passed the rough look only.
    """

    setting: Setting
    best: tuple[Offer, ...]
    others: tuple[Offer, ...]
    refused: tuple[RefusedDay, ...]
    possible: tuple[Possible, ...] = ()
    large: LargeAnswer | None = None

    @property
    def nothing(self) -> str:
        """Why there is no offer at all, or an empty string."""
        if self.best or not self.refused:
            return ""
        reasons = [each.why for each in self.refused if each.rank >= 2]
        common = max(set(reasons), key=reasons.count) if reasons else self.refused[0].why
        return f"No day can be offered in the next {AHEAD_DAYS} days. Mostly: {common}"


def best_days(
    job: Order, *, now: datetime, moving: int | None = None, every: bool = False
) -> Offers:
    """The five best days for `job` of the next three months; one offer a day, dearest last.

    `moving` is the id of a booking that is being moved, whose own time counts as free. With
    `every` each possible day is laid out and judged, which takes seconds.
    """
    return _Finding(Search(job=job, now=now, moving=moving)).found(every=every)


def on_day(job: Order, day: date, *, now: datetime, moving: int | None = None) -> Offers:
    """One day as each of the crews could do it, cheapest first, or why not."""
    search = Search(job=job, now=now, moving=moving)
    finding = _Finding(search)
    if day not in search.days():
        return Offers(search.setting, (), (), (RefusedDay(day, "That day is too far off.", 1),))
    return finding.of_day(day)


class _Finding:
    """One search on its way: what was laid out already, and what each day came to."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.screen = search.screen
        self.good: list[Offer] = []
        self.refused: list[RefusedDay] = []

    def found(self, *, every: bool) -> Offers:
        """The best days after the cheapest candidates were laid out."""
        waiting = self.screen.best_of_days()
        kept: list[Candidate] = []
        for candidate in waiting:
            if every or candidate.forbidden or self._worth(candidate):
                self._settle(candidate)
            else:
                kept.append(candidate)
        self._refuse_the_rest({each.day for each in waiting})
        best = self._with_doors(kept)
        large = large_floor(self.search) if not best else None
        if large is not None:
            best = tuple(sorted(_one_a_day(large.offers), key=_rank)[:BEST])
            taken = {offer.day for offer in best}
            self.refused = [each for each in self.refused if each.day not in taken]
        possible = sorted((self._possible(each) for each in kept), key=lambda each: each.day)
        refused = sorted(self.refused, key=lambda each: each.day)
        self.good.sort(key=_rank)
        return Offers(
            self.search.setting,
            best,
            tuple(self.good),
            tuple(refused),
            tuple(possible),
            large,
        )

    def of_day(self, day: date) -> Offers:
        """The offers of one day, one for each crew and each way it could do it."""
        seen: set[tuple[int, int, int]] = set()
        for candidate in self.screen.of_day(day):
            way = (candidate.crew, candidate.visits, candidate.lent)
            if way not in seen and len(seen) < BEST:
                seen.add(way)
                self._lay(candidate)
        self.good = list({offer.key: offer for offer in self.good}.values())
        if not seen:
            self._refuse(day)
        best = self._with_doors([])
        if best or not self.refused:
            return Offers(self.search.setting, best, (), ())
        alone = any(not each.lent for each in self.screen.of_day(day)) or not seen
        why = self._weightiest(self.refused, alone=alone)
        return Offers(self.search.setting, (), (), (why,))

    def _worth(self, candidate: Candidate) -> bool:
        """Whether a candidate may still be among the best."""
        if len(self.good) < BEST:
            return True
        fifth = sorted(offer.cost for offer in self.good)[BEST - 1]
        return candidate.cost <= fifth - WITHIN

    def _settle(self, candidate: Candidate) -> None:
        """Lay the cheapest crews of a day out until one is an offer, else keep the reason."""
        refusals: list[RefusedDay] = []
        tried: set[int] = set()
        for each in [candidate, *self.screen.of_day(candidate.day)]:
            if each.crew in tried:
                continue
            if len(tried) == CREWS_TRIED or (refusals and refusals[-1].rank >= 3):
                break
            tried.add(each.crew)
            refusal = self._lay(each, keep=False)
            if refusal is None:
                return
            refusals.append(refusal)
        self.refused.append(self._weightiest(refusals, alone=not candidate.lent))

    def _weightiest(self, refusals: list[RefusedDay], *, alone: bool) -> RefusedDay:
        """The reason to show; where only lent hands would do, why the crew alone does not, too."""
        found = max(refusals, key=lambda each: each.rank)
        by_itself = None if alone else self.screen.why_not(found.day)
        if by_itself is None:
            return found
        return replace(by_itself, why=f"{by_itself.why} {found.why}")

    def _lay(self, candidate: Candidate, *, keep: bool = True) -> RefusedDay | None:
        crew = self.search.staff.crews[candidate.crew]
        found = self.search.of(crew, candidate.day, candidate)
        if isinstance(found, Offer):
            self.good.append(found)
            return None
        if keep:
            self.refused.append(found)
        return found

    def _with_doors(self, kept: list[Candidate]) -> tuple[Offer, ...]:
        """The best days, taken out of the good; one that the open garage door spoils is refused.

        Where too few are left the next candidates are laid out.
        """
        best: list[Offer] = []
        self.good.sort(key=_rank)
        warm_doors(self.search.setting, [offer.plan for offer in self.good[:BEST]])
        while len(best) < BEST and (self.good or kept):
            if not self.good:
                self._settle(kept.pop(0))
                continue
            found = self.search.with_door(self.good.pop(0))
            if isinstance(found, Offer):
                best.append(found)
            else:
                self.refused.append(found)
        return tuple(sorted(best, key=_rank))

    def _refuse_the_rest(self, candidates: set[date]) -> None:
        for day in self.search.days():
            if day not in candidates:
                self._refuse(day)

    def _refuse(self, day: date) -> None:
        """Why a day without any candidate is none: from the arrays, else from a close look.

        Where that look finds what the arrays did not, such as a floor a day's drive away, the
        cheapest of the day is an offer after all.
        """
        refusal = self.screen.why_not(day)
        if refusal is not None:
            self.refused.append(refusal)
            return
        answers = list(self.search.on(day))
        offers = [each for each in answers if isinstance(each, Offer)]
        if offers:
            self.good.append(min(offers, key=_rank))
            return
        whys = [each for each in answers if isinstance(each, RefusedDay)]
        self.refused.append(max(whys, key=lambda each: each.rank))

    def _possible(self, candidate: Candidate) -> Possible:
        crew = self.search.staff.crews[candidate.crew]
        return Possible(candidate.day, crew, candidate.start, candidate.cost)


def offer_for(job: Order, key: str, *, now: datetime, moving: int | None = None) -> Offer | None:
    """The offer a form named by its key, worked out afresh; None if it is no offer any more.

    The key names a crew and a start, and how many people of another crew come along; whatever
    passes every check at that start is an offer.
    """
    try:
        named, _, clock = key.partition("@")
        crew_id, lent = (int(each) for each in (*named.rstrip("*").split("+"), "0")[:2])
        start = datetime.fromisoformat(clock)
        day = start.astimezone(job.branch.tz).date()
    except (ValueError, OverflowError):
        return None
    search = Search(job=job, now=now, moving=moving)
    if named.endswith("*"):
        return at_key(search, key)
    crew = next((each for each in search.staff.crews if each.pk == crew_id), None)
    if day not in search.days() or crew is None or search.site_days.closed(day) or lent > 1:
        return None
    try:
        found = search.at(crew, day, start, lent=lent)
    except NoOffer:
        return None
    booked = search.with_door(found) if found.plan.start == start else None
    return booked if isinstance(booked, Offer) else None


def who_has(branch: Branch, key: str) -> str:
    """A sentence on who has the crew at the time that an offer's key names; empty if nobody."""
    try:
        named, _, clock = key.partition("@")
        start = datetime.fromisoformat(clock)
        found = (
            Stint.objects.of_branch(branch)
            .open()
            .filter(crew_id=int(named.partition("+")[0]))
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


def _one_a_day(offers: tuple[Offer, ...]) -> list[Offer]:
    """The cheapest of each day; they come cheapest first."""
    days: dict[date, Offer] = {}
    for offer in offers:
        days.setdefault(offer.day, offer)
    return list(days.values())


def _rank(offer: Offer) -> tuple[float, date, int]:
    return (offer.cost, offer.day, offer.crew.pk)
