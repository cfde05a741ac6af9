"""Building the demo: the same office for the same moment, once, on an empty database."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from dispatch.demo import columbus, springfield
from dispatch.demo.gone_by import coated
from dispatch.demo.offices import COLUMBUS, SPRINGFIELD
from dispatch.demo.orders import Done
from dispatch.demo.orders_in import taken_in
from dispatch.demo.staff import Staffed, owner, staffed
from dispatch.models import (
    Booking,
    Crew,
    Link,
    LinkPurpose,
    Notice,
    NoticeKind,
    PromiseLevel,
)
from dispatch.reads.offer import Offer
from dispatch.reads.offer_search import Search
from dispatch.rules.asking import Ask
from dispatch.services import bookings, links, receipts, verdicts
from jobs.access import Actor
from jobs.models import ActorKind, Branch, Job
from jobs.refusals import Refusal
from weather.models import Place
from weather.services import refresh

BOOKED_EARLIER = timedelta(days=1)
DAYS_LOOKED_AT = 11
# The invented weather "wet_afternoon" rains on this day after its first.
WET_DAY_OF_SCRIPT = 2
# Near enough to hurt, far enough to ring; the other ones are for weekends and holidays.
WET_DAYS_AHEAD = (2, 3, 1, 4, 5, 6, 7)


class AlreadyBuilt(Refusal):
    """The database is in use already."""


@dataclass(frozen=True)
class Built:
    """What there is to look at first."""

    in_danger: Booking | None
    held: Booking | None
    phone: Link
    feed: Link
    customer: Link | None


def build(*, now: datetime) -> Built:
    """Write the invented contractor as of `now`. Raises AlreadyBuilt on a database in use."""
    if Branch.objects.exists():
        raise AlreadyBuilt("There is a branch in this database already; a demo begins empty.")
    boss = owner()
    west = staffed(SPRINGFIELD, owner=boss, now=now)
    east = staffed(COLUMBUS, owner=boss, now=now)
    to_book = taken_in(springfield.TO_BOOK, at=west, now=now)
    to_book_east = taken_in(columbus.TO_BOOK, at=east, now=now)
    (to_hold,) = taken_in([springfield.TO_HOLD], at=west, now=now)
    taken_in(springfield.WAITING, at=west, now=now, asked=False)
    taken_in(columbus.WAITING, at=east, now=now, asked=False)
    in_danger = _in_danger(west, now=now)
    for place in Place.objects.order_by("pk"):
        refresh(place, now=now)
    _gone_by(springfield.DONE, at=west, now=now)
    _gone_by(columbus.DONE, at=east, now=now)
    spare = _spare_day(in_danger, at=west, now=now)
    booked = [_book(job, at=west, now=now, keep=spare) for job in to_book]
    booked += [_book(job, at=east, now=now) for job in to_book_east]
    held = _hold(to_hold, at=west, now=now, keep=spare)
    verdicts.judge_open(now=now)
    lead = _read_by_crews(now=now) or west.crews[0]
    shown = in_danger or next((each for each in booked if each is not None), None)
    return Built(
        in_danger=in_danger,
        held=held,
        phone=_link(LinkPurpose.PHONE, "Phone", lead, by=west.by, now=now),
        feed=_link(LinkPurpose.FEED, "Calendar", lead, by=west.by, now=now),
        customer=links.for_booking(shown, now=now) if shown else None,
    )


def _link(purpose: LinkPurpose, word: str, crew: Crew, *, by: Actor, now: datetime) -> Link:
    """A link for the crew's lead."""
    name = f"{word} of {crew.lead}"
    return links.make_link(
        branch=crew.branch, purpose=purpose, name=name, by=by, now=now, crew=crew
    )


def _gone_by(done: Sequence[Done], *, at: Staffed, now: datetime) -> None:
    jobs = taken_in([each.order for each in done], at=at, now=now)
    for each, job in zip(done, jobs, strict=True):
        coated(each, job, at=at, now=now)


def _in_danger(at: Staffed, *, now: datetime) -> Booking | None:
    """A floor under the sky, booked and confirmed yesterday; since then the forecast has turned."""
    wet_day = _wet_day(at, now=now)
    ahead = (wet_day - at.branch.today(now)).days
    earlier = now - BOOKED_EARLIER
    for order in springfield.IN_DANGER:
        (job,) = taken_in([replace(order, wish_in=ahead)], at=at, now=now)
        mine = Place.objects.filter(zone=at.branch.zone)
        first_day = wet_day - timedelta(days=WET_DAY_OF_SCRIPT)
        mine.update(replay_script="mild", replay_first_day=first_day)
        refresh(job.site.place, now=earlier)
        booking = _book_on(job, wet_day, at=at, now=earlier)
        mine.update(replay_script="wet_afternoon")
        if booking is not None:
            return booking
    return None


def _wet_day(at: Staffed, *, now: datetime) -> date:
    """The day on which it will rain: a worked one, two days ahead where that can be."""
    today = at.branch.today(now)
    days = (today + timedelta(days=ahead) for ahead in WET_DAYS_AHEAD)
    return next(day for day in days if at.works(day))


def _book_on(job: Job, day: date, *, at: Staffed, now: datetime) -> Booking | None:
    """The best offer of one day, booked and confirmed; None where that day has none."""
    best = _best(job, now=now, only=day)
    if best is None:
        return None
    booking = _booked(job, best.ask(), at=at, now=now)
    if booking.promise == PromiseLevel.CONFIRMED:
        return booking
    return bookings.confirm(
        branch=at.branch, booking_id=booking.pk, version=booking.version, by=at.by, now=now
    )


def _spare_day(in_danger: Booking | None, *, at: Staffed, now: datetime) -> date | None:
    """A day kept free on which the floor in danger could be coated after all."""
    if in_danger is None:
        return None
    search = Search(job=in_danger.job, now=now, moving=in_danger.pk)
    tomorrow = at.branch.today(now) + timedelta(days=1)
    days = [
        offer.day
        for day in search.days()[:DAYS_LOOKED_AT]
        for offer in search.on(day)
        if isinstance(offer, Offer) and not offer.beyond
    ]
    return min(days, key=lambda day: (day <= tomorrow, day), default=None)


def _book(job: Job, *, at: Staffed, now: datetime, keep: date | None = None) -> Booking | None:
    """The best day booked, as somebody in the office would; None where there is none."""
    best = _best(job, now=now, keep=keep)
    return None if best is None else _booked(job, best.ask(), at=at, now=now)


def _hold(job: Job, *, at: Staffed, now: datetime, keep: date | None) -> Booking | None:
    """The best day held until tomorrow evening, while the customer asks at home."""
    best = _best(job, now=now, keep=keep)
    if best is None:
        return None
    until = at.branch.at(at.branch.today(now) + timedelta(days=1), time(17, 0))
    return _booked(job, best.ask(held_until=until, why="Asks at home first."), at=at, now=now)


def _best(
    job: Job, *, now: datetime, only: date | None = None, keep: date | None = None
) -> Offer | None:
    """The cheapest offer of one day or of the near ones but `keep`: what heads the best days."""
    search = Search(job=job, now=now, moving=None)
    near = [day for day in search.days()[:DAYS_LOOKED_AT] if day != keep]
    days = near if only is None else [only]
    offers = [each for day in days for each in search.on(day) if isinstance(each, Offer)]
    return min(offers, key=lambda each: (each.cost, each.day, each.crew.pk), default=None)


def _booked(job: Job, ask: Ask, *, at: Staffed, now: datetime) -> Booking:
    return bookings.book(
        branch=at.branch, job_id=job.pk, version=job.version, ask=ask, by=at.by, now=now
    )


def _read_by_crews(*, now: datetime) -> Crew | None:
    """Every change was seen by its crew but the soonest, which the office must ring about."""
    changes = Notice.objects.filter(kind=NoticeKind.CREW_CHANGE, receipt__isnull=True)
    ordered = sorted(changes, key=lambda each: (each.branch_id, each.facts["until"], each.pk))
    for notice in ordered[1:]:
        receipts.seen(notice, by=Actor(kind=ActorKind.CREW, name=notice.to), now=now)
    if not ordered:
        return None
    crew: Crew = Crew.objects.select_related("branch", "lead").get(pk=ordered[0].facts["crew"])
    return crew
