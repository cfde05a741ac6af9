"""Free stretches of crews as arrays: crews x days x gaps, for a search over all of them at once.

Instants are whole minutes of UTC since 1970, so a change of clocks alters nothing. A day of a
crew runs from its midnight into the next morning; a gap is what its work, its rest and its
people leave of that. The arrays are a prepared answer: the calendar itself has the last word.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Minutes = npt.NDArray[np.int64]
GAPS = 4  # stretches of one crew on one day; a crew with more work has no use for the fifth
NEVER = -1
DEPOT = 0  # the point every crew begins and ends its day at
AFTER_MIDNIGHT_MIN = 6 * 60


@dataclass(frozen=True)
class Stretch:
    """A stretch of taken time in minutes [first, until), at a numbered point of the map.

    `point` is NEVER where nobody is at a floor then: rest, or somebody who is away.
    """

    first: int
    until: int
    point: int = NEVER


@dataclass(frozen=True, eq=False)
class FreeTime:
    """The prepared arrays of one branch; `midnights` has one entry more than there are days."""

    midnights: Minutes  # days + 1
    start: Minutes  # days x crews x gaps; NEVER where there is no such gap
    end: Minutes
    before: Minutes  # point where the crew comes from
    after: Minutes  # point where it goes
    people: Minutes  # days x crews

    @classmethod
    def empty(cls, *, midnights: Sequence[int], crews: int) -> "FreeTime":
        """Arrays without a single gap."""
        days = len(midnights) - 1
        shape = (days, crews, GAPS)
        return cls(
            midnights=np.asarray(midnights, dtype=np.int64),
            start=np.full(shape, NEVER, dtype=np.int64),
            end=np.full(shape, NEVER, dtype=np.int64),
            before=np.zeros(shape, dtype=np.int64),
            after=np.zeros(shape, dtype=np.int64),
            people=np.zeros((days, crews), dtype=np.int64),
        )

    def copy(self) -> "FreeTime":
        """The same, to be changed without changing this one."""
        return FreeTime(
            midnights=self.midnights,
            start=self.start.copy(),
            end=self.end.copy(),
            before=self.before.copy(),
            after=self.after.copy(),
            people=self.people.copy(),
        )

    def days_touched(self, first: int, until: int) -> range:
        """Numbers of the days that [first, until) touches, whose last night it lies in as well."""
        begins = int(np.searchsorted(self.midnights, first - AFTER_MIDNIGHT_MIN, side="right")) - 1
        ends = int(np.searchsorted(self.midnights, until, side="left"))
        return range(max(0, begins), min(ends, len(self.midnights) - 1))

    def put(self, day: int, crew: int, *, people: int, taken: Iterable[Stretch]) -> None:
        """Work one crew's day out again from what is taken of it and of its people."""
        first = int(self.midnights[day])
        until = int(self.midnights[day + 1]) + AFTER_MIDNIGHT_MIN
        gaps = gaps_between(taken, first=first, until=until)[:GAPS]
        self.people[day, crew] = people
        for array in (self.start, self.end):
            array[day, crew] = NEVER
        for number, (begins, ends, before, after) in enumerate(gaps):
            self.start[day, crew, number], self.end[day, crew, number] = begins, ends
            self.before[day, crew, number], self.after[day, crew, number] = before, after


def gaps_between(
    taken: Iterable[Stretch], *, first: int, until: int
) -> list[tuple[int, int, int, int]]:
    """(start, end, point before, point after) of what is free in [first, until), in order."""
    gaps: list[tuple[int, int, int, int]] = []
    now, before = first, DEPOT
    for each in sorted(taken, key=lambda one: (one.first, one.until)):
        if each.until <= first or each.first >= until:
            continue
        if each.first > now:
            gaps.append((now, each.first, before, DEPOT if each.point == NEVER else each.point))
        if each.until > now:
            now, before = each.until, DEPOT if each.point == NEVER else each.point
    if now < until:
        gaps.append((now, until, before, DEPOT))
    return gaps
