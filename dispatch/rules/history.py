"""What happened to a booking, as one sentence for each change on record."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, Protocol, TypeVar
from zoneinfo import ZoneInfo

from dispatch.rules.kept import PLANNED, instant
from jobs.rules.clock import say_day, say_moment, say_time

UNDOABLE = ("move", "call off", "confirm", "hand over")
CALLED_OFF = "called_off"


class Change(Protocol):
    """One change on record."""

    @property
    def pk(self) -> int: ...
    @property
    def action(self) -> str: ...
    @property
    def actor_name(self) -> str: ...
    @property
    def before(self) -> Any: ...
    @property
    def after(self) -> Any: ...
    @property
    def why(self) -> str: ...


C = TypeVar("C", bound=Change)


def is_change(event: Change) -> bool:
    """Whether the booking became another; what a customer says of a version is none."""
    return "version" not in event.after


def last_change(events: Iterable[C]) -> C | None:
    """The newest change of a booking; what was only said of it does not count."""
    changes = [event for event in events if is_change(event)]
    return max(changes, key=lambda event: event.pk, default=None)


def replayed(events: Iterable[Change]) -> dict[str, Any]:
    """The booking as its record leaves it; refuses a record with a gap."""
    state: dict[str, Any] = {}
    for event in sorted(filter(is_change, events), key=lambda event: event.pk):
        if event.before != state:
            raise ValueError(f"{event.action} does not follow from what was before it")
        state = event.after
    return state


def sentence(event: Change, *, zone: ZoneInfo, crews: Mapping[int, str], partner: str = "") -> str:
    """Who did what, from where to where, and why: "Ana moved it from ... to ...: rain"."""
    was, now_on = _where(event.before, zone, crews), _where(event.after, zone, crews)
    if was == now_on and event.action in {"move", "swap"}:  # another hour of the same day
        was, now_on = (
            f"{where} at {_begins(kept, zone)}"
            for where, kept in ((was, event.before), (now_on, event.after))
        )
    return f"{event.actor_name} {_deed(event, was, now_on, zone, partner)}{_why(event)}"


def _deed(event: Change, was: str, now_on: str, zone: ZoneInfo, partner: str) -> str:
    held = instant(event.after.get("held_until"))
    until = f", until {say_moment(held, zone)}" if held else ""
    swapped = f" with {partner}" if partner else " with another floor"
    said = {
        "book": f"{'held' if held else 'booked'} {now_on}{until}",
        "move": f"moved it from {was} to {now_on}",
        "swap": f"swapped it{swapped}, from {was} to {now_on}",
        "call off": f"called it off; it was on {was}",
        "confirm": f"confirmed {now_on}",
        "undo": f"took the last change back: it is on {now_on} again",
        "hand over": "arranged for a machine to be handed over",
        "left the site": "left the site",
        "drive-on later": f"moved drive-on later, {_drive_on(event, zone)}",
        "customer cannot": "said that this day does not work",
    }
    return said.get(event.action, event.action)


def _why(event: Change) -> str:
    return f": {event.why}" if event.why and event.action != "undo" else ""


def _drive_on(event: Change, zone: ZoneInfo) -> str:
    moments = [instant(kept.get("drive_on_at")) for kept in (event.before, event.after)]
    was, later = (say_moment(each, zone) if each else "no date" for each in moments)
    return f"from {was} to {later}"


def _begins(kept: Mapping[str, Any], zone: ZoneInfo) -> str:
    starts = [stint["start"] for stint in kept.get("stints", [])]
    return say_time(datetime.fromisoformat(min(starts)), zone) if starts else "no time"


def _where(kept: Mapping[str, Any], zone: ZoneInfo, crews: Mapping[int, str]) -> str:
    """The days of a booking with their crews: "Tue Jun 2 and Wed Jun 3, North"."""
    stints: Sequence[Mapping[str, Any]] = kept.get("stints", [])
    on = [stint for stint in stints if stint["state"] != CALLED_OFF] or list(stints)
    if not on:
        return "no day"
    days = [say_day(datetime.fromisoformat(stint["start"]).astimezone(zone).date()) for stint in on]
    names = [crews.get(stint["crew"], "a crew that is gone") for stint in on]
    if len(set(names)) == 1:
        return f"{' and '.join(dict.fromkeys(days))}, {names[0]}"
    return " and ".join(f"{day}, {name}" for day, name in zip(days, names, strict=True))


__all__ = ["PLANNED", "UNDOABLE", "last_change", "replayed", "sentence"]
