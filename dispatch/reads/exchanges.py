"""What a booking can be swapped with, and which of its machines could go to the next floor."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from dispatch.models import Booking, Machine, Stint
from jobs.rules.clock import say_moment

AHEAD = timedelta(days=60)
MOST = 200


@dataclass(frozen=True)
class Partner:
    """A booking that could take the other's place, as the asker sees it."""

    booking_id: int
    version: int
    text: str

    @property
    def key(self) -> str:
        """What the form sends: whom, and as what the asker saw them."""
        return f"{self.booking_id}:{self.version}"


@dataclass(frozen=True)
class MachineThere:
    """A machine on one of a booking's stints."""

    machine: Machine
    stint: Stint


def partners_of(booking: Booking, *, now: datetime) -> list[Partner]:
    """Open bookings of the next weeks that have not begun, by their first day."""
    stints = (
        Stint.objects.of_branch(booking.branch)
        .open()
        .filter(number=1, start__gt=now, start__lt=now + AHEAD)
        .exclude(booking=booking)
        .select_related("crew", "booking__job__customer", "booking__job__site")
        .order_by("start", "pk")
    )
    return [
        Partner(
            booking_id=stint.booking_id,
            version=stint.booking.version,
            text=f"{stint.booking.job.customer}, {say_moment(stint.start, booking.branch.tz)}, "
            f"{stint.crew}",
        )
        for stint in stints[:MOST]
    ]


def machines_of(booking: Booking) -> list[MachineThere]:
    """Every machine on the stints that are still to be done."""
    stints = booking.stints.filter(state="planned").order_by("number").select_related("crew")
    return [
        MachineThere(machine, stint)
        for stint in stints.prefetch_related("machines")
        for machine in stint.machines.all()
    ]
