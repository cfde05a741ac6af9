"""What a calendar promises, in the plainest words: the model that the real one is held against.

A place is a crew's half days: morning and afternoon. Nothing here knows of claims, locks,
versions or rows.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

HALVES = 2  # of four hours each; the afternoon's ends before everybody goes home


@dataclass(frozen=True)
class Place:
    """One visit: a crew, a day, the first half day and how many."""

    crew: int
    day: int
    half: int
    length: int

    @property
    def units(self) -> frozenset[tuple[int, int, int]]:
        """The half days of the crew that it takes."""
        return frozenset((self.crew, self.day, self.half + n) for n in range(self.length))

    def instead_of(self, other: "Place") -> "Place":
        """My own length in the other's crew, day and hour."""
        return replace(other, length=self.length)


@dataclass(frozen=True)
class Entry:
    """A booking: its floor, where it stands, how firm; and what the last change can put back."""

    job: int
    state: str  # held, booked or called off
    places: tuple[Place, ...]
    confirmed: bool
    held_until: int | None = None
    back_to: "Entry | None" = None

    @property
    def open(self) -> bool:
        return self.state in {"held", "booked"}

    @property
    def units(self) -> frozenset[tuple[int, int, int]]:
        return frozenset().union(*(place.units for place in self.places))


class Model:
    """Bookings by number, and what each change makes of them: "ok" or why not."""

    def __init__(self) -> None:
        self.entries: dict[int, Entry] = {}
        self.erased: set[int] = set()
        self.minute = 0

    def booked(self, job: int) -> bool:
        """Whether a booking of this floor stands."""
        return any(entry.open and entry.job == job for entry in self.entries.values())

    def free(self, places: Iterable[Place], *, without: Iterable[int] = ()) -> bool:
        """Whether nobody else has any of it, and the visits do not hinder each other."""
        places, without = list(places), set(without)
        wanted = frozenset().union(*(place.units for place in places))
        if len(wanted) < sum(place.length for place in places):
            return False
        return not any(
            entry.open and entry.units & wanted
            for number, entry in self.entries.items()
            if number not in without
        )

    def may_book(self, job: int, places: tuple[Place, ...]) -> str:
        if self.booked(job) or job in self.erased:
            return "already_booked"
        return "ok" if self.free(places) else "taken"

    def book(self, number: int, job: int, places: tuple[Place, ...], hold: int | None) -> None:
        state = "booked" if hold is None else "held"
        self.entries[number] = Entry(job, state, places, hold is None, hold)

    def may_move(self, number: int, places: tuple[Place, ...]) -> str:
        if not self.entries[number].open:
            return "cannot_change"
        return "ok" if self.free(places, without=[number]) else "taken"

    def move(self, number: int, places: tuple[Place, ...]) -> None:
        old = self.entries[number]
        self.entries[number] = Entry(old.job, "booked", places, True, back_to=old)

    def swapped(self, one: int, two: int) -> tuple[tuple[Place, ...], tuple[Place, ...]]:
        first, second = self.entries[one].places, self.entries[two].places
        return (
            tuple(a.instead_of(b) for a, b in zip(first, second, strict=True)),
            tuple(b.instead_of(a) for a, b in zip(first, second, strict=True)),
        )

    def may_swap(self, one: int, two: int) -> str:
        first, second = self.entries[one], self.entries[two]
        if one == two:
            return "refused"
        if not (first.open and second.open) or len(first.places) != len(second.places):
            return "cannot_change"
        new_one, new_two = self.swapped(one, two)
        if any(place.half + place.length > HALVES for place in (*new_one, *new_two)):
            return "cannot_change"
        return "ok" if self.free((*new_one, *new_two), without=[one, two]) else "taken"

    def swap(self, one: int, two: int) -> None:
        new_one, new_two = self.swapped(one, two)
        for number, places in ((one, new_one), (two, new_two)):
            self.entries[number] = replace(self.entries[number], places=places, back_to=None)

    def call_off(self, number: int) -> None:
        old = self.entries[number]
        self.entries[number] = Entry(old.job, "called off", (), False, back_to=old)

    def confirm(self, number: int) -> None:
        old = self.entries[number]
        self.entries[number] = replace(
            old, state="booked", confirmed=True, held_until=None, back_to=old
        )

    def may_undo(self, number: int) -> str:
        entry = self.entries[number]
        old = entry.back_to
        if old is None or (old.state == "held" and (old.held_until or 0) <= self.minute):
            return "cannot_change"
        if not entry.open and (self.booked(entry.job) or entry.job in self.erased):
            return "already_booked"
        return "ok" if self.free(old.places, without=[number]) else "taken"

    def undo(self, number: int) -> None:
        old = self.entries[number].back_to
        assert old is not None
        self.entries[number] = replace(old, back_to=None)

    def may_erase(self, job: int) -> str:
        """Whose floor has a day is bound; whoever was erased may be erased again."""
        return "still_bound" if self.booked(job) else "ok"

    def erase(self, job: int) -> None:
        self.erased.add(job)

    def lapse(self) -> None:
        for number, entry in list(self.entries.items()):
            if entry.state == "held" and (entry.held_until or 0) <= self.minute:
                self.call_off(number)
