"""Who has answered what must be ready on the day, and who has not."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Prefetch, Q

from dispatch.models import (
    Booking,
    BookingState,
    PromiseLevel,
    ReadyAnswer,
    Stint,
)
from dispatch.reads.need import Need
from dispatch.rules.readiness import EARLY, LATE, Item, items
from jobs.models import Branch
from jobs.rules.clock import say_moment

# What was asked the evening before may be answered until then; then somebody rings.
PATIENCE = timedelta(hours=2)


@dataclass(frozen=True)
class Line:
    """One thing to be ready, with what was answered."""

    item: Item
    answer: ReadyAnswer | None

    @property
    def state(self) -> str:
        """ "ready", "not ready" or "not answered"."""
        if self.answer is None:
            return "not answered"
        return "ready" if self.answer.ready else "not ready"


def first_start(booking: Booking) -> datetime | None:
    """When the crew comes first, of a booking with its stints read."""
    standing = [each.start for each in booking.stints.all() if each.state == "planned"]
    return min(standing, default=None)


def day_of(booking: Booking, start: datetime) -> date:
    """The day the answers are about, by the site's calendar."""
    day: date = start.astimezone(booking.job.site.tz).date()
    return day


def items_of(booking: Booking, start: datetime) -> tuple[Item, ...]:
    """What must be ready for the floors of a booking."""
    job = booking.job
    month = day_of(booking, start).month
    return items(
        exposures=job.exposures(),
        month=month if job.site.latitude >= 0 else (month + 5) % 12 + 1,
        only_way_in=job.site.only_way_in,
        units=str(booking.branch.units),
    )


def lines_of(booking: Booking) -> tuple[Line, ...]:
    """Everything that must be ready, with the answers; nothing where no day is confirmed."""
    start = first_start(booking)
    if start is None or booking.promise != PromiseLevel.CONFIRMED:
        return ()
    day = day_of(booking, start)
    said = {each.topic: each for each in booking.ready_answers.all() if each.day == day}
    return tuple(Line(item, said.get(item.topic.value)) for item in items_of(booking, start))


def asked_about(branch: Branch, *, now: datetime, worth: Q | None = None) -> list[Booking]:
    """Confirmed bookings whose crew comes within two days, with all that the lines need.

    `worth` narrows them.
    """
    near = Stint.objects.of_branch(branch).open().filter(start__gt=now, start__lte=now + EARLY)
    return list(
        Booking.objects.of_branch(branch)
        .filter(
            state=BookingState.BOOKED,
            promise=PromiseLevel.CONFIRMED,
            pk__in=near.values("booking_id"),
        )
        .filter(worth or Q())
        .select_related("branch", "job__customer", "job__site")
        .prefetch_related(
            "job__floors",
            "ready_answers",
            Prefetch("stints", Stint.objects.order_by("number")),
        )
        .order_by("pk")
    )


def unanswered(branch: Branch, *, now: datetime) -> Iterator[Need]:
    """Whom to ring: something is not ready, or the evening's question was not answered."""
    near = Stint.objects.of_branch(branch).open().filter(start__gt=now)
    silent_near = near.filter(start__lte=now + LATE - PATIENCE).values("booking_id")
    refused = ReadyAnswer.objects.filter(
        ready=False, booking__in=near.filter(start__lte=now + EARLY).values("booking_id")
    )
    # Of the others nobody is asked yet: a large office has some hundred of them.
    worth = Q(pk__in=silent_near) | Q(pk__in=refused.values("booking_id"))
    for booking in asked_about(branch, now=now, worth=worth):
        start = first_start(booking)
        if start is None or start <= now:
            continue
        lines = lines_of(booking)
        bad = [line.item.name for line in lines if line.state == "not ready"]
        silent = [line.item.name for line in lines if line.state == "not answered"]
        late = now >= start - LATE + PATIENCE
        if not bad and not (silent and late):
            continue
        said = [f"Not ready: {', '.join(bad)}."] if bad else []
        said += [f"Not answered: {', '.join(silent)}."] if silent and late else []
        yield Need(
            kind="ready",
            level="care",
            title=f"{booking.job.customer}, {say_moment(start, booking.job.site.tz)}",
            reason=" ".join(said),
            answer="Open the booking",
            answer_url_name="booking",
            answer_pk=booking.pk,
            when=start,
            telephone=booking.job.customer.telephone,
        )
