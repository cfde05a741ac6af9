"""Building the demo: the same office for the same moment, once, on an empty database."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from dispatch.demo import columbus, springfield
from dispatch.demo.gone_by import coated
from dispatch.demo.offices import COLUMBUS, SPRINGFIELD
from dispatch.demo.orders import Done, Order
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
    Receipt,
)
from dispatch.reads.offer import Offer
from dispatch.reads.offer_search import Search
from dispatch.reads.offers import best_days
from dispatch.services import bookings, links, verdicts
from jobs.models import Branch, Job
from jobs.refusals import Refusal
from weather.models import Place
from weather.services import refresh

BOOKED_EARLIER = timedelta(days=1)
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
    to_book = _in(springfield.TO_BOOK, at=west, now=now)
    to_book_east = _in(columbus.TO_BOOK, at=east, now=now)
    (to_hold,) = _in([springfield.TO_HOLD], at=west, now=now)
    _in(springfield.WAITING, at=west, now=now)
    _in(columbus.WAITING, at=east, now=now)
    in_danger = _in_danger(west, now=now)
    for place in Place.objects.order_by("pk"):
        refresh(place, now=now)
    _gone_by(springfield.DONE, at=west, now=now)
    _gone_by(columbus.DONE, at=east, now=now)
    booked = [_book(job, at=west, now=now) for job in to_book]
    booked += [_book(job, at=east, now=now) for job in to_book_east]
    held = _hold(to_hold, at=west, now=now)
    verdicts.judge_open(now=now)
    lead = _read_by_crews(now=now) or west.crews[0]
    shown = in_danger or next((each for each in booked if each is not None), None)
    return Built(
        in_danger=in_danger,
        held=held,
        phone=links.make_link(
            branch=lead.branch,
            purpose=LinkPurpose.PHONE,
            name=f"Phone of {lead.lead}",
            by=west.by,
            now=now,
            crew=lead,
        ),
        feed=links.make_link(
            branch=lead.branch,
            purpose=LinkPurpose.FEED,
            name=f"Calendar of {lead.lead}",
            by=west.by,
            now=now,
            crew=lead,
        ),
        customer=links.for_booking(shown, now=now) if shown else None,
    )


def _in(orders: Iterable[Order], *, at: Staffed, now: datetime) -> list[Job]:
    return [taken_in(order, at=at, now=now) for order in orders]


def _gone_by(done: Sequence[Done], *, at: Staffed, now: datetime) -> None:
    for each in done:
        coated(each, taken_in(each.order, at=at, now=now), at=at, now=now)


def _in_danger(at: Staffed, *, now: datetime) -> Booking | None:
    """A floor under the sky, booked and confirmed yesterday; since then the forecast has turned."""
    wet_day = _wet_day(at, now=now)
    ahead = (wet_day - at.branch.today(now)).days
    earlier = now - BOOKED_EARLIER
    for order in springfield.IN_DANGER:
        job = taken_in(replace(order, wish_in=ahead), at=at, now=now)
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
    offers = list(Search(job=job, now=now, moving=None).on(day))
    best = min(
        (each for each in offers if isinstance(each, Offer)),
        key=lambda offer: (offer.cost, offer.crew.pk),
        default=None,
    )
    if best is None:
        return None
    booking = bookings.book(
        branch=at.branch, job_id=job.pk, version=job.version, ask=best.ask(), by=at.by, now=now
    )
    if booking.promise == PromiseLevel.CONFIRMED:
        return booking
    return bookings.confirm(
        branch=at.branch, booking_id=booking.pk, version=booking.version, by=at.by, now=now
    )


def _book(job: Job, *, at: Staffed, now: datetime) -> Booking | None:
    """The best day booked, as somebody in the office would; None where there is none."""
    best = best_days(job, now=now).best
    if not best:
        return None
    return bookings.book(
        branch=at.branch, job_id=job.pk, version=job.version, ask=best[0].ask(), by=at.by, now=now
    )


def _hold(job: Job, *, at: Staffed, now: datetime) -> Booking | None:
    """The best day held until tomorrow evening, while the customer asks at home."""
    best = best_days(job, now=now).best
    if not best:
        return None
    until = at.branch.at(at.branch.today(now) + timedelta(days=1), time(17, 0))
    ask = best[0].ask(held_until=until, why="Asks at home first.")
    return bookings.book(
        branch=at.branch, job_id=job.pk, version=job.version, ask=ask, by=at.by, now=now
    )


def _read_by_crews(*, now: datetime) -> Crew | None:
    """Every change was seen by its crew but the soonest, which the office must ring about."""
    changes = Notice.objects.filter(kind=NoticeKind.CREW_CHANGE, receipt__isnull=True)
    ordered = list(
        changes.select_related("stint__crew__lead", "stint__crew__branch").order_by(
            "branch_id", "stint__start", "pk"
        )
    )
    for notice in ordered[1:]:
        Receipt.objects.create(notice=notice, at=now, how="phone page", by=notice.to)
    return ordered[0].stint.crew if ordered else None
