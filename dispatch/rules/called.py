"""What fell against what was called: misses, false alarms, and what the numbers would suggest.

A day counts as spoiled where rain fell into the wet window, or a gust beyond the limit blew
over it. Hours nobody measured are unknown, never dry.

The suggestion is the cost-loss rule: protecting costs C, being caught costs L, so it pays to
act where the chance of being caught is above C / L. Murphy, A. H. (1977), The value of
climatological, categorical and probabilistic forecasts in the cost-loss ratio situation,
Monthly Weather Review 105, 803-816; Richardson, D. S. (2000), Skill and relative economic value
of the ECMWF ensemble prediction system, Quarterly Journal of the Royal Meteorological Society
126, 649-667.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import pairwise

from dispatch.rules.findings import Level

# Chances of the wet window, in bands; so few cases in a band say nothing.
BANDS_PCT = (0.0, 15.0, 30.0, 50.0, 101.0)
FEWEST = 10


class Lead(StrEnum):
    """When it was said."""

    MORNING = "morning"
    EVENING = "evening before"
    TWO_DAYS = "two days before"
    THREE_DAYS = "three days before"
    FINAL_CALL = "final call"


# The verdict that stood so long before the crew came. The evening is the hour of the final call.
BEFORE = {
    Lead.MORNING: timedelta(0),
    Lead.TWO_DAYS: timedelta(hours=48),
    Lead.THREE_DAYS: timedelta(hours=72),
}


@dataclass(frozen=True)
class Case:
    """One thing that was said of one floor and day, and whether the day would have spoiled it.

    `alarm` is whether it said not to coat; None where it said "unknown". `spoiled` is None where
    the hours were not measured.
    """

    who: str
    day: datetime
    exposure: str
    lead: Lead
    alarm: bool | None
    spoiled: bool | None
    chance_pct: float | None = None
    coated: bool = True


@dataclass(frozen=True)
class Tally:
    """Counts for one exposure and lead."""

    exposure: str
    lead: str
    hits: int  # said no, and it fell
    misses: int  # said go or care, and it fell
    false_alarms: int  # said no, and it stayed dry
    right: int  # said go or care, and it stayed dry
    unknown: int  # nothing was said, or nothing was measured

    @property
    def known(self) -> int:
        """How many can be judged."""
        return self.hits + self.misses + self.false_alarms + self.right


@dataclass(frozen=True)
class Band:
    """How often it fell where the highest chance of the wet window lay in a band."""

    from_pct: float
    to_pct: float
    cases: int
    fell: int

    @property
    def share(self) -> float | None:
        """Share of the cases in which it fell; None where there are too few to say."""
        return self.fell / self.cases if self.cases >= FEWEST else None


@dataclass(frozen=True)
class Suggestion:
    """What cost and loss alone would suggest; a person decides whether to set it."""

    ratio_pct: float
    now_pct: float
    sentence: str


def tallies(cases: Iterable[Case]) -> tuple[Tally, ...]:
    """One row for each exposure and lead that occurs, in a fixed order."""
    groups: dict[tuple[str, Lead], list[Case]] = {}
    for case in cases:
        groups.setdefault((case.exposure, case.lead), []).append(case)
    order = list(Lead)
    keys = sorted(groups, key=lambda key: (key[0], order.index(key[1])))
    return tuple(_tally(key, groups[key]) for key in keys)


def _tally(key: tuple[str, Lead], cases: Sequence[Case]) -> Tally:
    def count(*, alarm: bool, spoiled: bool) -> int:
        return sum(case.alarm is alarm and case.spoiled is spoiled for case in cases)

    hits, misses = count(alarm=True, spoiled=True), count(alarm=False, spoiled=True)
    false, right = count(alarm=True, spoiled=False), count(alarm=False, spoiled=False)
    unknown = len(cases) - hits - misses - false - right
    return Tally(key[0], key[1].value, hits, misses, false, right, unknown)


def bands(cases: Iterable[Case], *, lead: Lead = Lead.EVENING) -> tuple[Band, ...]:
    """How often it fell by the chance that was forecast; each case once, at one lead."""
    known = [
        case
        for case in cases
        if case.lead is lead and case.spoiled is not None and case.chance_pct is not None
    ]
    found = []
    for low, high in pairwise(BANDS_PCT):
        inside = [case for case in known if low <= (case.chance_pct or 0.0) < high]
        found.append(Band(low, min(high, 100.0), len(inside), sum(bool(c.spoiled) for c in inside)))
    return tuple(found)


def act_above(*, move_cost: float, ruined_cost: float) -> float:
    """The chance (0 to 1) above which moving is cheaper than risking the coat: C / L."""
    if not (move_cost > 0 and ruined_cost > 0):
        raise ValueError("both costs must be above zero")
    return min(1.0, move_cost / ruined_cost)


def suggestion(
    *, move_cost: float, ruined_cost: float, now_pct: float, found: Sequence[Band]
) -> Suggestion:
    """The line that cost and loss suggest, and what was seen here beside it."""
    ratio = act_above(move_cost=move_cost, ruined_cost=ruined_cost)
    said = (
        f"A move costs {move_cost:,.0f}, a ruined coat {ruined_cost:,.0f}: it pays to move where "
        f"the coat would be caught in more than {100 * ratio:.0f} of 100 such days."
    )
    worth = [band for band in found if band.share is not None and band.share > ratio]
    if worth:
        lowest = min(worth, key=lambda band: band.from_pct)
        said += (
            f" Here that was so from a forecast of {lowest.from_pct:.0f} % on "
            f"({lowest.fell} of {lowest.cases} days); the limit is set to {now_pct:.0f} %."
        )
    else:
        said += f" Too few days were seen to say at which forecast that is; it is {now_pct:.0f} %."
    return Suggestion(100 * ratio, now_pct, said)


def alarm_of(level: Level | None) -> bool | None:
    """Whether a verdict said not to coat; None where it said nothing."""
    if level is None or level is Level.UNKNOWN:
        return None
    return level is Level.NO
