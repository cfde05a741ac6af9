"""Pairs: two floors of one day on one crew-day, with the road between them."""

from dataclasses import dataclass

import numpy as np

from dispatch.rules.planning.candidates import NOWHERE, Candidates, Pairs, no_pairs
from dispatch.rules.planning.model import Flags, Floats, Ints


@dataclass(frozen=True, eq=False)
class Clocked:
    """When candidates are on their floors: minutes, and what they cost alone (cents).

    `latest` is when work must end that day, `fixed` says that the start cannot be shifted,
    `open` that the crew has nothing else that day, or has this very floor.
    `alone` is what a candidate pays for having the day to itself: a crew's day begun, the road
    home and the hours left over.
    """

    start: Ints
    end: Ints
    latest: Ints
    fixed: Flags
    alone: Ints
    place: Ints  # number of the site in `road_min`
    open: Flags


@dataclass(frozen=True, eq=False)
class Sharing:
    """What a shared crew-day costs in common, and how many pairs one candidate may have."""

    road_min: Floats  # sites x sites
    road_cents: float  # of a minute
    fresh_cents: int  # of a crew's day that is begun
    idle_cents: float  # of a minute left over of the day
    most_road_min: float = 45.0
    most_partners: int = 12


def pairs_of(candidates: Candidates, clocked: Clocked, sharing: Sharing) -> Pairs:
    """Every two candidates of a crew-day that fit one after the other, the first first."""
    firsts, seconds = _of_one_slot(candidates, clocked)
    if not len(firsts):
        return no_pairs()
    # Whichever begins earlier goes first; where both are free to choose, both ways are tried.
    one, two = np.concatenate((firsts, seconds)), np.concatenate((seconds, firsts))
    road = sharing.road_min[clocked.place[one], clocked.place[two]]
    begins = clocked.end[one] + np.ceil(road / 15).astype(np.int64) * 15
    starts = np.where(
        clocked.fixed[two], clocked.start[two], np.maximum(begins, clocked.start[two])
    )
    ends = starts + clocked.end[two] - clocked.start[two]
    fits = (starts >= begins) & (ends <= clocked.latest[two]) & (road <= sharing.most_road_min)
    # Two bookings of one crew-day stand there already, whatever a plan would say of it.
    stand = clocked.fixed[one] & clocked.fixed[two] & (clocked.start[one] <= clocked.start[two])
    fits = np.where(clocked.fixed[one] & clocked.fixed[two], stand, fits)
    idle = np.maximum(0, clocked.latest[two] - ends)
    shared = sharing.fresh_cents + sharing.road_cents * road + sharing.idle_cents * idle
    bare = candidates.cost - clocked.alone
    cost = bare[one] + bare[two] + np.rint(shared).astype(np.int64)
    best = _best(candidates, one[fits], two[fits], cost[fits], sharing.most_partners)
    kept = np.flatnonzero(fits)[best | stand[fits]]
    return Pairs(one[kept], two[kept], cost[kept])


def _of_one_slot(candidates: Candidates, clocked: Clocked) -> tuple[Ints, Ints]:
    """Each two candidates of different floors that take one and the same crew-day."""
    single = np.flatnonzero(((candidates.slots != NOWHERE).sum(axis=1) == 1) & clocked.open)
    # A floor that fills the day has no partner, and there are many of those.
    length = clocked.end[single] - clocked.start[single]
    order = single[np.lexsort((length, candidates.slots[single, 0]))]
    slot = candidates.slots[order, 0]
    firsts, seconds = [], []
    for step in range(1, int(np.bincount(slot).max(initial=0)) if len(slot) else 0):
        same = (slot[step:] == slot[:-step]) & (
            candidates.floor[order[step:]] != candidates.floor[order[:-step]]
        )
        one, two = order[:-step][same], order[step:][same]
        both = clocked.end[one] - clocked.start[one] + clocked.end[two] - clocked.start[two]
        day = clocked.latest[one] - np.minimum(clocked.start[one], clocked.start[two])
        may = (both <= day) | (clocked.fixed[one] & clocked.fixed[two])
        firsts.append(one[may])
        seconds.append(two[may])
    if not firsts:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    return np.concatenate(firsts), np.concatenate(seconds)


def _best(candidates: Candidates, one: Ints, two: Ints, cost: Ints, most: int) -> Flags:
    """The cheaper order of each two, and of each candidate only its best partners.

    A pair that costs more than both alone may still be the only way on a full day.
    """
    low, high = np.minimum(one, two), np.maximum(one, two)
    order = np.lexsort((cost, high, low))
    low, high = low[order], high[order]
    cheaper = np.ones(len(order), dtype=bool)
    cheaper[1:] = (low[1:] != low[:-1]) | (high[1:] != high[:-1])
    kept = order[cheaper]
    saved = cost[kept] - candidates.cost[one[kept]] - candidates.cost[two[kept]]
    rank = np.minimum(_ranks(one[kept], saved), _ranks(two[kept], saved))
    best = np.zeros(len(one), dtype=bool)
    best[kept[rank < most]] = True
    return best


def _ranks(key: Ints, value: Ints) -> Ints:
    """The place of each entry among those of its key, least value first."""
    order = np.lexsort((value, key))
    sorted_key = key[order]
    begins = np.ones(len(order), dtype=bool)
    begins[1:] = sorted_key[1:] != sorted_key[:-1]
    first = np.maximum.accumulate(np.where(begins, np.arange(len(order)), 0))
    ranks = np.empty(len(order), dtype=np.int64)
    ranks[order] = np.arange(len(order)) - first
    return ranks
