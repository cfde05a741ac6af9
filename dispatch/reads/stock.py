"""Stock and the floors that are to be laid from it: put aside afresh from what is booked.

Nothing of it is kept: a share follows from the open bookings and the lots, soonest floor
first, so it can never belong to a floor that was called off or moved.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import OuterRef, Subquery

from dispatch.models import OPEN_STATES, Booking, Stint
from dispatch.reads.chain import rates_of
from dispatch.reads.orders import order_words, orders_for
from jobs.models import Branch, Job, StockKind, StockLot
from jobs.models.branches import Units
from jobs.rules.clock import say_day
from jobs.rules.materials import Materials, materials
from jobs.rules.stock import Lot, Need, Reserved, reserve, shortages
from jobs.rules.units import gal_from_l, lb_from_kg

PLANNED_C = 20.0  # amounts do not hang on the slab, only the batches do
TWO = 2
DAY = timedelta(days=1)
LIST_AHEAD = DAY  # the list of the evening before


@dataclass(frozen=True)
class Share:
    """What one floor has put aside of one blend, in words."""

    booking: int
    customer: str
    day: date
    what: str
    needed: str
    lots: str
    short: str  # empty where nothing is short


@dataclass(frozen=True)
class Depot:
    """The lots there are, and the floors that are booked, soonest first."""

    lots: tuple[StockLot, ...]
    shares: tuple[Share, ...]


def depot(branch: Branch, *, now: datetime) -> Depot:
    """The whole of it for one branch."""
    lots = tuple(StockLot.objects.of_branch(branch).filter(amount__gt=0))
    reserved, bookings = _reserved(branch, lots, now=now)
    return Depot(lots, tuple(_share(each, bookings, us=_us(branch)) for each in reserved))


def short_soon(branch: Branch, *, now: datetime) -> tuple[Share, ...]:
    """What is short for floors up to tomorrow: to be fetched this evening."""
    kept = tuple(StockLot.objects.of_branch(branch))
    if not kept:
        return ()  # an office that keeps no stock here is not told that all of it is missing
    lots = tuple(lot for lot in kept if lot.amount > 0)
    until = branch.today(now) + LIST_AHEAD
    # Soonest floors are served first, so those after tomorrow take nothing away from these.
    reserved, bookings = _reserved(branch, lots, now=now, until=until)
    return tuple(_share(one, bookings, us=_us(branch)) for one in shortages(reserved, until=until))


def takes_of(job: Job) -> Materials:
    """What all floors of the job take together."""
    return materials(
        work=job.work(),
        card=job.system.card,
        rates=rates_of(job.branch),
        crew_size=TWO,
        slab_at_pour_c=PLANNED_C,
        slab_at_top_c=PLANNED_C,
    )


def to_order(booking: Booking, stints: Sequence[Stint], *, now: datetime) -> tuple[str, ...]:
    """What an open booking asks of suppliers, each with its last day to order, in sentences."""
    if not stints or booking.state not in OPEN_STATES:
        return ()
    job, branch = booking.job, booking.branch
    day = stints[0].start.astimezone(branch.tz).date()
    lines = orders_for(
        takes=takes_of(job),
        card=job.system.card,
        needed_on=day,
        country=branch.country,
        subdivision=branch.subdivision,
    )
    today = branch.today(now)
    return tuple(order_words(line, us=_us(branch), today=today) for line in lines)


def _reserved(
    branch: Branch, lots: Sequence[StockLot], *, now: datetime, until: date = date.max
) -> tuple[tuple[Reserved, ...], dict[str, Booking]]:
    """Every need of a floor booked from today until that day, and the bookings by their key.

    A floor takes its material on its first day, which is when the trailer is loaded.
    """
    first = Stint.objects.standing().filter(booking=OuterRef("pk")).order_by("start")
    open_ones = (
        Booking.objects.of_branch(branch)
        .open()
        .annotate(first_start=Subquery(first.values("start")[:1]))
        .filter(first_start__gte=branch.at(branch.today(now), time(0)))
        .with_job()
        .order_by("pk")
    )
    if until != date.max:
        open_ones = open_ones.filter(first_start__lt=branch.at(until + DAY, time(0)))
    bookings: dict[str, Booking] = {}
    needs: list[Need] = []
    for booking in open_ones:
        bookings[str(booking.pk)] = booking
        needs += _needs(booking, day=booking.first_start.astimezone(branch.tz).date())
    stock = [
        Lot(_what(lot.kind, lot.blend), lot.lot, lot.amount, lot.keeps_until, lot.opened)
        for lot in lots
    ]
    return reserve(needs, stock), bookings


def _needs(booking: Booking, *, day: date) -> list[Need]:
    job = booking.job
    takes, key = takes_of(job), str(booking.pk)
    needs = [
        Need(key, _what(StockKind.BASE, job.system.name), takes.base.litres, day),
        Need(key, _what(StockKind.TOP, job.system.name), takes.top.litres, day),
    ]
    if takes.flake_order_kg > 0:
        needs.append(Need(key, _what(StockKind.FLAKE, job.color), takes.flake_order_kg, day))
    return needs


def _what(kind: str, blend: str) -> str:
    """How lots and needs of one blend find each other, whatever the spelling of its case."""
    return f"{kind}:{' '.join(blend.split()).casefold()}"


def _share(reserved: Reserved, bookings: dict[str, Booking], *, us: bool) -> Share:
    need = reserved.need
    booking = bookings[need.floor]
    kind, _, _ = need.what.partition(":")
    job = booking.job
    blend = job.color if kind == StockKind.FLAKE else job.system.name
    held: dict[str, float] = {}
    for lot in reserved.taken:
        held[lot.lot] = held.get(lot.lot, 0.0) + lot.amount
    opened = any(lot.opened for lot in reserved.taken)
    lots = ", ".join(f"{amount_words(kg, kind, us=us)} of lot {name}" for name, kg in held.items())
    return Share(
        booking=booking.pk,
        customer=str(job.customer),
        day=need.day,
        what=f"{StockKind(kind).label}, {blend or 'no blend chosen yet'}",
        needed=amount_words(need.amount, kind, us=us),
        lots=f"{lots}{' (part bag first)' if opened else ''}" if lots else "",
        short=amount_words(reserved.short, kind, us=us) if reserved.short > 0 else "",
    )


def amount_words(amount: float, kind: str, *, us: bool) -> str:
    """An amount of flake or resin as the branch reads it."""
    if kind == StockKind.FLAKE:
        return f"{lb_from_kg(amount):,.0f} lb" if us else f"{amount:,.1f} kg"
    return f"{gal_from_l(amount):,.1f} gal" if us else f"{amount:,.1f} L"


def _us(branch: Branch) -> bool:
    return bool(branch.units == Units.US)


def short_words(share: Share) -> str:
    """One line of the list of the evening before."""
    there = f"{share.lots} is put aside" if share.lots else "nothing fitting is in stock"
    return (
        f"{share.what}: {share.short} short of {share.needed} for {say_day(share.day)}; {there}. "
        "A floor is laid from one lot."
    )
