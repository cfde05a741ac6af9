"""How much of an air record is known: small gaps bridged, long ones kept apart."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weather.rules.hours import Series

BRIDGED_H = 6  # a gap up to this long is a straight line between its neighbours
AROUND_H = 24  # a longer gap in the past is filled with the mean of this much either side


@dataclass(frozen=True, eq=False)
class AirRecord:
    """Air by the hour, fit to be carried through: unknown only where nothing may be said.

    `first` is the first known hour. `known` marks values that were given or bridged, as
    against past gaps filled with a mean. After a long gap that lies ahead of now all is
    unknown: no slab is promised across it.
    """

    air_c: Series
    known: NDArray[np.bool_]
    first: int

    def run_h(self) -> Series:
        """Hours of record that the estimate of each hour rests on; a filled hour takes one back."""
        steps = np.where(self.known, 1.0, -1.0)
        steps[: self.first] = 0.0
        total = np.cumsum(steps)
        run: Series = total - np.minimum.accumulate(np.minimum(total, 0.0))
        return run

    def known_before(self, *, now_at: int, span_h: int) -> int:
        """How many of the `span_h` hours before the hour at `now_at` are known."""
        end = max(0, min(now_at, len(self.known)))
        return int(self.known[max(0, now_at - span_h) : end].sum())


def air_record(*, air_c: Series, now_at: int) -> AirRecord:
    """`air_c` with its gaps judged; `now_at` is the position of the hour that holds now."""
    filled, known = air_c.copy(), ~np.isnan(air_c)
    given = np.flatnonzero(known)
    for before in given[:-1][np.diff(given) > 1]:
        after = int(given[np.searchsorted(given, before, side="right")])
        gap = slice(before + 1, after)
        ahead = max(int(before) + 1, now_at)
        if after - before - 1 <= BRIDGED_H:
            filled[gap] = np.interp(np.arange(before + 1, after), given, air_c[given])
            known[gap] = True
        else:
            filled[gap] = _around(air_c, before=int(before), after=after)
            if after - ahead > BRIDGED_H:
                filled[ahead:] = np.nan
                known[ahead:] = False
                break
    return AirRecord(air_c=filled, known=known, first=int(given[0]) if len(given) else len(air_c))


def _around(air_c: Series, *, before: int, after: int) -> float:
    """Mean of the known hours on both sides of a gap."""
    near = np.r_[air_c[max(0, before + 1 - AROUND_H) : before + 1], air_c[after : after + AROUND_H]]
    return float(np.nanmean(near))
