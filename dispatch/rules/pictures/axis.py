"""Hours to places: a line of time on which nights are narrow but not gone."""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from functools import cache
from itertools import pairwise
from operator import mul

from dispatch.rules.pictures.week import DayColumn

NIGHT_WEIGHT = 0.3  # width of an hour at night against one of the day


class Axis:
    """Places of hours; anything outside lies on the edge.

    `x(hour)` is the place of an hour, `at(hour)` the same as written into a path. Both
    remember: stages share their ends, and writing a number costs more than finding it.
    """

    def __init__(self, *, hours: list[float], places: list[float], widths: list[float]) -> None:
        self.hours = hours
        self.places = places
        self.widths = widths  # of one hour, in each stretch
        self.x: Callable[[float], float] = cache(self.place)
        self.at: Callable[[float], str] = cache(lambda hour: f"{self.x(hour):.1f}")

    def place(self, hour: float) -> float:
        """The place of `hour`, worked out."""
        index = bisect_right(self.hours, hour) - 1
        if 0 <= index < len(self.widths):
            return self.places[index] + self.widths[index] * (hour - self.hours[index])
        return self.places[0 if index < 0 else -1]


def week_axis(days: Sequence[DayColumn], *, left: float, right: float) -> Axis:
    """An axis over `days`, every day equally wide."""
    hours, places, widths = [days[0].start_h], [left], []
    column = (right - left) / len(days)
    for index, day in enumerate(days):
        cuts = [day.start_h, day.elapsed(day.wide_from), day.elapsed(day.wide_until), day.end_h]
        lengths = [after - before for before, after in pairwise(cuts)]
        weights = (NIGHT_WEIGHT, 1.0, NIGHT_WEIGHT)
        scale = column / sum(map(mul, lengths, weights))
        place = left + index * column
        for cut, length, weight in zip(cuts[1:], lengths, weights, strict=True):
            if length > 0:
                place += length * weight * scale
                hours.append(cut)
                places.append(place)
                widths.append(weight * scale)
    return Axis(hours=hours, places=places, widths=widths)
