"""The final call as crew and customer read it: what was decided, or that nobody has."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from dispatch.models import Booking, BookingState, FinalCall, PromiseLevel, Stint, Watch
from dispatch.reads.readiness import first_start, lines_of
from dispatch.rules.final_call import Decision, call_moment
from dispatch.rules.final_words import NOT_DECIDED, customer_final, customer_watch, decided
from dispatch.rules.watching import Shown
from jobs.rules.clock import say_moment

# The crew reads what is not ready from the evening before on.
NEAR = timedelta(hours=18)


@dataclass(frozen=True)
class FinalWord:
    """For the crew: what was decided about a stint, or that it waits, or that nobody did."""

    level: str
    text: str
    why: str = ""


def final_word(stint: Stint, *, now: datetime) -> FinalWord:
    """The decision on the day of a stint; before the hour, when it comes."""
    zone = stint.booking.job.site.tz
    call, call_at = _call(stint)
    if call is not None:
        said = decided(
            decision=Decision(call.decision),
            measure=call.measure,
            by=call.by_name,
            at=call.at,
            zone=zone,
        )
        return FinalWord("note", f"Final call: {said}", call.why)
    if now < call_at:
        return FinalWord("note", f"The final call comes {say_moment(call_at, zone)}.")
    return FinalWord("no", NOT_DECIDED)


def not_ready(booking: Booking, *, now: datetime) -> tuple[str, ...]:
    """What the customer has not made ready, or has not answered, in words for the crew."""
    start = first_start(booking)
    if start is None or now < start - NEAR:
        return ()
    lines = lines_of(booking)
    return tuple(f"{line.item.name}: {line.state}" for line in lines if line.state != "ready")


def customer_word(booking: Booking, *, now: datetime) -> tuple[str, ...]:
    """What the customer of a confirmed day is shown: the final word, else the watch, else nothing.

    Only a person's decision replaces it; no forecast does.
    """
    if booking.state != BookingState.BOOKED or booking.promise != PromiseLevel.CONFIRMED:
        return ()
    stint = booking.stints.open().filter(end__gt=now).order_by("number").first()
    if stint is None:
        return ()
    call, call_at = _call(stint)
    zone = booking.job.site.tz
    if call is not None:
        decision = Decision(call.decision)
        return tuple(
            filter(None, customer_final(decision=decision, starts=[stint.start], zone=zone))
        )
    day = stint.start.astimezone(booking.branch.tz).date()
    if Watch.objects.filter(booking=booking, day=day, shown=Shown.WATCH).exists():
        return customer_watch(call_at=call_at, zone=zone)
    return ()


def _call(stint: Stint) -> tuple[FinalCall | None, datetime]:
    branch = stint.booking.branch
    day = stint.start.astimezone(branch.tz).date()
    call_at = call_moment(day, at=branch.final_call_at, zone=branch.tz)
    found: FinalCall | None = stint.final_calls.filter(day=day, latest=True).first()
    return found, call_at
