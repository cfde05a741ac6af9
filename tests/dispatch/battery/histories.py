"""Histories of many writers, and the checker that finds what cannot have happened.

Every writer notes, as lines of JSON, when it began a change and what came of it, by the clock
of the machine that never runs backwards. A change is "ok", a refusal's code, or unknown where
its writer died. The checker is told nothing of how the guards work.
"""

import json
import os
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.db import InterfaceError, OperationalError

from dispatch.models import OPEN_STATES, Booking, Claim
from dispatch.rules.granules import granules
from dispatch.rules.kept import instant
from jobs.models import AuditEvent
from jobs.refusals import Refusal

Spot = tuple[str, int]  # (crew, granule)


@dataclass(frozen=True)
class Outcome:
    """What one change made of one booking."""

    booking: int
    version: int
    spots: frozenset[Spot]
    begun: float
    ended: float


@dataclass
class History:
    """Everything the writers noted."""

    outcomes: list[Outcome] = field(default_factory=list)
    refused: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    unknown: list[dict[str, Any]] = field(default_factory=list)
    took_s: list[float] = field(default_factory=list)

    @property
    def count(self) -> int:
        """How many changes were asked for and answered."""
        return len(self.took_s)


class Log:
    """One writer's file; a line is whole or not there, so a killed writer leaves it readable."""

    def __init__(self, folder: Path, name: str) -> None:
        path = folder / f"{name}.jsonl"
        self._file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)

    def note(self, **line: Any) -> None:
        """Write one line at once."""
        os.write(self._file, (json.dumps(line) + "\n").encode())

    def run(self, kind: str, key: str, change: Callable[[], list[Booking]]) -> None:
        """Ask for a change and note when, and what came of it."""
        begun = time.monotonic()
        self.note(do=kind, key=key, begun=begun)
        try:
            made = [(each.pk, each.version) for each in change()]
        except Refusal as refusal:
            self.note(key=key, said=refusal.code, begun=begun, ended=time.monotonic())
        except (InterfaceError, OperationalError) as trouble:  # it may have been written
            self.note(key=key, said="unknown", what=repr(trouble), begun=begun, ended=begun)
        except Exception as trouble:  # noqa: BLE001  the checker's reader sees it
            self.note(key=key, said="broken", what=repr(trouble), begun=begun, ended=begun)
        else:
            ended = time.monotonic()
            kept = [[pk, version, _spots_of(pk, version)] for pk, version in made]
            self.note(key=key, said="ok", begun=begun, ended=ended, made=kept)


def _spots_of(booking_id: int, version: int) -> list[list[Any]]:
    """Where this version of a booking stood; its record is never written again."""
    events = AuditEvent.objects.filter(subject="booking", subject_id=booking_id).order_by("pk")
    event = events[version - 1 : version].get()
    return sorted([list(spot) for spot in spots(event.after)])


def spots(kept: dict[str, Any]) -> set[Spot]:
    """(crew, granule) of the standing stints of a booking as its record keeps it."""
    if kept["state"] not in {*OPEN_STATES}:
        return set()
    return {
        (f"crew {stint['crew']}", granule)
        for stint in kept["stints"]
        if stint["state"] == "planned"
        for granule in granules(_moment(stint["start"]), _moment(stint["end"]))
    }


def _moment(text: str) -> Any:
    return instant(text)


def read(folder: Path) -> History:
    """The notes of all writers."""
    found = History()
    for path in sorted(folder.glob("*.jsonl")):
        open_lines: dict[str, dict[str, Any]] = {}
        for text in path.read_text().splitlines():
            line = json.loads(text)
            if "do" in line:
                open_lines[line["key"]] = line
                continue
            asked = open_lines.pop(line["key"])
            if line["said"] == "unknown":
                found.unknown.append({**asked, "what": line["what"]})
                continue
            found.took_s.append(line["ended"] - line["begun"])
            if line["said"] != "ok":
                found.refused[line["said"]] += 1
                if line["said"] == "broken":
                    found.refused[line["what"]] += 1
                continue
            for pk, version, held in line["made"]:
                taken = frozenset((name, granule) for name, granule in held)
                found.outcomes.append(Outcome(pk, version, taken, line["begun"], line["ended"]))
        found.unknown += open_lines.values()
    return found


def final_spots() -> dict[int, set[Spot]]:
    """Where each booking stands in the database at the end, by its claims."""
    found: dict[int, set[Spot]] = defaultdict(set)
    held = Claim.objects.filter(stint__isnull=False, resource__crew__isnull=False)
    for pk, crew, granule in held.values_list("stint__booking_id", "resource__crew", "granule"):
        found[pk].add((f"crew {crew}", granule))
    return found


def anomalies(
    history: History, *, versions: dict[int, int], final: dict[int, set[Spot]]
) -> list[str]:
    """A sentence for everything that cannot have happened; `versions` and `final` are the end."""
    by_booking: dict[int, list[Outcome]] = defaultdict(list)
    for outcome in history.outcomes:
        by_booking[outcome.booking].append(outcome)
    for outcomes in by_booking.values():
        outcomes.sort(key=lambda each: each.version)
    return [
        *_versions(by_booking, versions, unknown=len(history.unknown)),
        *_last_stands(by_booking, versions, final),
        *_overlaps(by_booking),
    ]


def _versions(
    by_booking: dict[int, list[Outcome]], versions: dict[int, int], *, unknown: int
) -> Iterator[str]:
    """Versions rise by one: none is given twice, and none is missing without a dead writer."""
    missing = 0
    for booking, last in versions.items():
        given = [each.version for each in by_booking.get(booking, [])]
        for version in sorted(set(given)):
            if given.count(version) > 1:
                yield f"booking {booking} became version {version} {given.count(version)} times"
        if any(version > last for version in given):
            yield f"booking {booking} is at {last}, and somebody was told {max(given)}"
        missing += last - len({version for version in given if version <= last})
    for booking in set(by_booking) - set(versions):
        yield f"booking {booking} was acknowledged and is not there"
    if missing > 2 * unknown:  # a swap changes two bookings
        yield f"{missing} versions were made by nobody, and {unknown} changes are unknown"


def _last_stands(
    by_booking: dict[int, list[Outcome]], versions: dict[int, int], final: dict[int, set[Spot]]
) -> Iterator[str]:
    """The newest version somebody was told of is what stands, if nothing came after it."""
    for booking, outcomes in by_booking.items():
        last = outcomes[-1]
        if last.version == versions.get(booking) and last.spots != final.get(booking, set()):
            yield f"booking {booking} does not stand where version {last.version} put it"


def _overlaps(by_booking: dict[int, list[Outcome]]) -> Iterator[str]:
    """No quarter of a crew was surely held by two bookings at the same time.

    A version surely holds its time from when its writer was answered until the next change of
    the booking was asked for.
    """
    held: dict[Spot, list[tuple[float, float, int]]] = defaultdict(list)
    for booking, outcomes in by_booking.items():
        for position, outcome in enumerate(outcomes):
            after = [each.begun for each in outcomes[position + 1 :]]
            until = min(after, default=float("inf"))
            # A version between two that are known may have let go earlier.
            following = outcomes[position + 1] if after else None
            if following is not None and following.version != outcome.version + 1:
                until = outcome.ended
            for spot in outcome.spots:
                held[spot].append((outcome.ended, until, booking))
    yield from _clashes(held)


def _clashes(held: dict[Spot, list[tuple[float, float, int]]]) -> Iterator[str]:
    said: set[frozenset[int]] = set()
    for (crew, _), spans in held.items():
        spans.sort()
        latest, holder = float("-inf"), 0
        for start, end, booking in spans:
            pair = frozenset({holder, booking})
            if start < min(latest, end) and booking != holder and pair not in said:
                said.add(pair)
                yield f"{crew} was held by bookings {holder} and {booking} at once"
            if end > latest:
                latest, holder = end, booking


def check(folder: Path, bookings: Iterable[Booking]) -> tuple[History, list[str]]:
    """The history in `folder` and its anomalies against what the database holds now."""
    history = read(folder)
    versions = {booking.pk: booking.version for booking in bookings}
    return history, anomalies(history, versions=versions, final=final_spots())
