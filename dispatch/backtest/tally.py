"""What a season came to: counts by 100 floors, losses in money by cause, and how sure that is."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import exp

import numpy as np

from dispatch.backtest.scenario import Prices
from dispatch.backtest.season import Fate, Result

DAY = timedelta(days=1)
RESAMPLES = 1000


@dataclass(frozen=True)
class Counts:
    """Figures of one policy; those marked by name are for 100 floors ordered."""

    policy: str
    words: str
    floors: int
    done: int
    spoiled: float
    crew_days_lost: float
    customers_moved: float
    notice_h: float
    promises_kept_pct: float
    days_beyond_need: float
    order_to_done_days: float
    crew_h: float
    loss: float
    loss_low: float
    loss_high: float
    spoiled_by: dict[str, float]
    lost_by: dict[str, float]
    loss_by: dict[str, float]


def counts(result: Result, *, seed: int) -> Counts:
    """Every figure of one season."""
    fates = result.fates
    hundred = 100 / len(fates)
    done = [fate for fate in fates if fate.done_on is not None]
    moves = [move for fate in fates for move in fate.moves]
    kept = [fate.promised >= fate.ready for fate in done if fate.promised and fate.ready]
    beyond = [
        max(0.0, (fate.promised - fate.ready) / DAY)
        for fate in done
        if fate.promised and fate.ready
    ]
    waits = [(fate.done_on - fate.order.ordered_on).days for fate in done if fate.done_on]
    losses = _losses(result)
    low, high = _by_week(result, losses, seed=seed)
    by_cause: defaultdict[str, float] = defaultdict(float)
    for parts in losses:
        for cause, amount in parts.items():
            by_cause[cause] += amount
    return Counts(
        policy=result.policy,
        words=result.words,
        floors=len(fates),
        done=len(done),
        spoiled=hundred * sum(bool(fate.spoiled_by) for fate in fates),
        crew_days_lost=hundred * sum(len(fate.lost) for fate in fates),
        customers_moved=hundred * len(moves),
        notice_h=_mean([move.notice_h for move in moves]),
        promises_kept_pct=100 * _mean([float(each) for each in kept]),
        days_beyond_need=100 * _mean(max(0.0, days) for days in beyond),
        order_to_done_days=_mean(waits),
        crew_h=hundred * sum(fate.crew_h for fate in fates),
        loss=hundred * sum(by_cause.values()),
        loss_low=hundred * low,
        loss_high=hundred * high,
        spoiled_by=_shares(Counter(c for f in fates for c in f.spoiled_by), hundred),
        lost_by=_shares(Counter(day.why for f in fates for day in f.lost), hundred),
        loss_by=_shares(by_cause, hundred),
    )


def _losses(result: Result) -> list[dict[str, float]]:
    """Money lost on each floor, by cause."""
    last, prices = result.scenario.last_day, result.scenario.prices
    return [_of_floor(fate, prices, last) for fate in result.fates]


def _of_floor(fate: Fate, prices: Prices, last: date) -> dict[str, float]:
    found: defaultdict[str, float] = defaultdict(float)
    if fate.spoiled_by:
        cost = prices.spoiled_floor + prices.spoiled_m2 * fate.order.work.area_m2
        found[f"spoiled: {fate.spoiled_by[0]}"] += cost
    for lost in fate.lost:
        found[f"day lost: {lost.why}"] += prices.crew_day_lost
    for move in fate.moves:
        late = exp(-move.notice_h / 24 / prices.notice_fades_days)
        found[f"moved: {move.why}"] += prices.customer_moved + prices.customer_moved_late * late
    waited = ((fate.done_on or last) - fate.order.ordered_on).days
    shut = "under a roof" if not fate.order.exposure.open else "open"
    found[f"waiting: {shut}"] += prices.waiting_a_day * waited
    if fate.done_on is None:
        found[f"not done: {shut}"] += prices.not_done
    if fate.ready and fate.promised:
        if fate.promised < fate.ready:
            found["promise broken"] += prices.promise_broken
        else:
            found["promise late"] += prices.day_beyond_need * (fate.promised - fate.ready) / DAY
    return dict(found)


def _by_week(
    result: Result, losses: Sequence[dict[str, float]], *, seed: int
) -> tuple[float, float]:
    """The 5 % and 95 % points of the whole loss when weeks of orders are drawn anew."""
    weeks: dict[tuple[int, int], list[float]] = {}
    for fate, parts in zip(result.fates, losses, strict=True):
        week = fate.order.ordered_on.isocalendar()[:2]
        weeks.setdefault(week, []).append(sum(parts.values()))
    sums = np.array([[sum(each), len(each)] for _, each in sorted(weeks.items())])
    rng = np.random.default_rng([seed, 99])
    drawn = sums[rng.integers(len(sums), size=(RESAMPLES, len(sums)))].sum(axis=1)
    whole = drawn[:, 0] / drawn[:, 1] * len(result.fates)
    low, high = np.percentile(whole, [5, 95])
    return float(low), float(high)


def largest(counted: Counts, how_many: int = 3) -> list[tuple[str, float]]:
    """The largest causes of loss, dearest first."""
    return sorted(counted.loss_by.items(), key=lambda each: -each[1])[:how_many]


def _mean(values: Iterable[float]) -> float:
    found = list(values)
    return float(np.mean(found)) if found else 0.0


def _shares(counted: Mapping[str, float], hundred: float) -> dict[str, float]:
    return {name: hundred * value for name, value in sorted(counted.items())}
