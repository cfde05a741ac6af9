"""Stamps: the four moments of a day as they really were, and the promise that follows them."""

from datetime import datetime

from dispatch.models import Booking, Stamp, StampKind, Stint
from dispatch.models.bookings import StintState
from dispatch.rules.asking import Promised
from dispatch.rules.firmness import Firmness
from dispatch.services import bookings
from jobs.access import Actor
from jobs.refusals import Refusal, Stale
from jobs.rules.clock import round_up_quarter, say_moment
from jobs.rules.plan import StageKind
from jobs.writing import run_write


class CannotStamp(Refusal):
    """The stint is not on, so nothing of it can have happened."""

    code = "cannot_stamp"
    status = 409


def stamp(stint: Stint, *, kind: StampKind, by: Actor, now: datetime) -> Stamp:
    """Write one moment down; the first press counts, later ones change nothing.

    A top coat that was done later than planned moves walk-on and drive-on later by as much.
    A promise never moves earlier by itself.
    """
    made, is_new = _write(stint.pk, kind=kind, by=by, now=now)
    if is_new and kind == StampKind.TOPPED:
        _promise_from_the_clock(stint, topped_at=made.at, now=now)
    if is_new and kind == StampKind.LEFT:
        _close(stint, by=by, now=now)
    return made


def _close(stint: Stint, *, by: Actor, now: datetime) -> None:
    """Leaving ends the stint. Where the office is changing it just now, the stamp stands alone."""
    for _ in range(3):
        try:
            bookings.leave(branch=stint.booking.branch, stint_id=stint.pk, by=by, now=now)
        except Stale:
            continue
        except Refusal:
            return
        return


@run_write
def _write(stint_id: int, *, kind: StampKind, by: Actor, now: datetime) -> tuple[Stamp, bool]:
    stint = Stint.objects.select_related("booking").get(pk=stint_id)
    if stint.state == StintState.CALLED_OFF or stint.booking.state == "called_off":
        raise CannotStamp("This day is not on any more. Please ring the office.")
    made: tuple[Stamp, bool] = Stamp.objects.get_or_create(
        stint=stint,
        kind=kind,
        defaults={"at": now, "noted_at": now, "noted_by": by.name[:120], "user": by.user},
    )
    return made


def planned_top_end(stint: Stint) -> datetime | None:
    """When the top coat was planned to be done; None where this visit has none."""
    ends = [stage["end"] for stage in stint.stages if stage.get("kind") == StageKind.TOP.value]
    return datetime.fromisoformat(max(ends)) if ends else None


def _promise_from_the_clock(stint: Stint, *, topped_at: datetime, now: datetime) -> None:
    planned = planned_top_end(stint)
    if planned is None or topped_at <= planned:
        return
    late = topped_at - planned
    for _ in range(3):  # somebody may change the booking in this very moment
        booking = Booking.objects.select_related("branch", "job__site").get(pk=stint.booking_id)
        if booking.drive_on_at is None:
            return
        zone = booking.job.site.tz
        promised = Promised(
            level=Firmness(booking.promise),
            walk_on_at=round_up_quarter(booking.walk_on_at + late) if booking.walk_on_at else None,
            drive_on_at=round_up_quarter(booking.drive_on_at + late),
            drive_on_basis=(
                f"Counted from the top coat, done {say_moment(topped_at, zone)}. "
                f"{booking.drive_on_basis}"
            )[:300],
        )
        try:
            bookings.promise_later(
                branch=booking.branch,
                booking_id=booking.pk,
                version=booking.version,
                promised=promised,
                now=now,
                why="The top coat was done later than planned.",
            )
        except Stale:
            continue
        except Refusal:
            return  # the booking is closed; the stamp stands all the same
        return
