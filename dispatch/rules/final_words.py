"""The final call and the watch in words: for the person who presses, the crew and the customer."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from dispatch.rules.customer_words import arrival
from dispatch.rules.final_call import SAID, Decision
from jobs.rules.clock import say_moment, say_time

NOT_DECIDED = "Not decided yet; ring the office."


@dataclass(frozen=True, kw_only=True)
class Told:
    """What the consequences of a press depend on."""

    confirmed: bool
    has_mail: bool
    start: datetime
    zone: ZoneInfo
    changes_decision: bool
    moves: int
    best_day: str = ""  # the offer in words; empty where none was found


def consequence(decision: Decision, told: Told) -> str:
    """What happens when the button is pressed, said before it is."""
    if decision is Decision.MOVE:
        return _move(told)
    crew = {
        Decision.KEEP: "The crew goes as planned.",
        Decision.KEEP_WITH_MEASURE: "The crew goes and takes the measure with it.",
        Decision.PREPARE_ONLY: "The crew grinds and repairs; nothing is coated, and the coat "
        "needs another day from you.",
        Decision.METER_FIRST: "The crew goes, meters before any resin and rings the office.",
    }[decision]
    return f"{crew} {_customer(told)} After that only a person changes it."


def _customer(told: Told) -> str:
    if not told.confirmed:
        return "The day was never confirmed, so the customer is told nothing: ring."
    if told.changes_decision:
        return "The customer heard otherwise: ring first, the mail goes half an hour later."
    return "The customer is written to now." if told.has_mail else "The customer has no mail: ring."


def _move(told: Told) -> str:
    if not told.best_day:
        return "No better day was found: open the other days."
    said = f"Moves to {told.best_day}; the old day is free at once and the crew is told."
    if told.confirmed:
        said += " The customer is written to with the new day and the reason."
    if told.moves:
        said += " It has moved before: ring, do not write."
    return said


def decided(*, decision: Decision, measure: str, by: str, at: datetime, zone: ZoneInfo) -> str:
    """The decision as the crew and the office read it."""
    what = f"{SAID[decision]}: {measure.rstrip('.')}" if measure else SAID[decision]
    return f"{what}. Decided by {by}, {say_moment(at, zone)}."


def customer_final(
    *, decision: Decision, starts: Sequence[datetime], zone: ZoneInfo
) -> tuple[str, ...]:
    """The final word for the customer."""
    comes = f"The crew comes {arrival(starts[0], zone)}." if starts else ""
    if decision in {Decision.KEEP, Decision.KEEP_WITH_MEASURE}:
        return ("It is on: we coat as planned.", comes)
    if decision is Decision.PREPARE_ONLY:
        return (
            "We come and prepare the floor; the weather does not allow the coat.",
            comes,
            "We ring you about the day of the coat. Please leave the floor empty.",
        )
    if decision is Decision.METER_FIRST:
        return (
            "We come and measure the slab first; whether we coat hangs on the reading.",
            comes,
            "You hear from the crew on site. Please have the floor ready.",
        )
    return ()


def customer_watch(*, call_at: datetime, zone: ZoneInfo) -> tuple[str, ...]:
    """The weather watch for the customer: not a cancellation, and when the last word comes."""
    return (
        "The forecast has turned, so your day may move. It stands until you hear otherwise.",
        f"We decide {say_moment(call_at, zone)} and tell you then.",
        "There is nothing to do for you yet.",
    )


def waits_for_call(*, call_at: datetime, zone: ZoneInfo) -> str:
    """When the last word about a confirmed day comes."""
    return f"The final word comes at {say_time(call_at, zone)} the evening before."
