"""The backtest's tables as text and as plain values for JSON."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from dispatch.backtest.reliability import Reliability
from dispatch.backtest.skill import SkillRow
from dispatch.backtest.tally import Counts, largest

ROWS: tuple[tuple[str, str, str], ...] = (
    ("floors done of those ordered", "done", ".0f"),
    ("spoiled per 100", "spoiled", ".1f"),
    ("crew-days lost per 100", "crew_days_lost", ".1f"),
    ("customers moved per 100", "customers_moved", ".1f"),
    ("hours of notice, mean", "notice_h", ".1f"),
    ("drive-on promises kept, %", "promises_kept_pct", ".1f"),
    ("days promised beyond need per 100", "days_beyond_need", ".1f"),
    ("days from order to done, mean", "order_to_done_days", ".1f"),
    ("crew hours on site and road per 100", "crew_h", ".0f"),
    ("loss per 100 floors, $", "loss", ",.0f"),
    ("  from (5 % of resampled weeks)", "loss_low", ",.0f"),
    ("  to (95 %)", "loss_high", ",.0f"),
)
ONE_YEAR = (
    "One year is one year: the range resamples the weeks of one season at one place; another "
    "year may lie outside it."
)


def season_lines(found: Sequence[Counts]) -> Iterator[str]:
    """The table of policies, one column each, and the largest causes of loss under it."""
    yield f"{'':38}" + "".join(f"{each.policy:>10}" for each in found)
    yield f"{'floors ordered':38}" + "".join(f"{each.floors:>10}" for each in found)
    for words, name, form in ROWS:
        cells = "".join(f"{format(getattr(each, name), form):>10}" for each in found)
        yield f"{words:38}{cells}"
    for cause in sorted({cause for each in found for cause in each.spoiled_by}):
        cells = "".join(f"{each.spoiled_by.get(cause, 0.0):>10.1f}" for each in found)
        yield f"{f'  spoiled by {cause} per 100':38}{cells}"
    yield ""
    for each in found:
        yield f"{each.policy}: {each.words}"
        for cause, amount in largest(each):
            yield f"   ${amount:,.0f} per 100 floors: {cause}"
    yield ""
    yield ONE_YEAR


def season_values(found: Sequence[Counts]) -> list[dict[str, Any]]:
    """The same as plain values, rounded so that a table is the same on every machine."""
    return [_rounded(asdict(each)) for each in found]


def odds_lines(found: Sequence[Reliability]) -> Iterator[str]:
    """Reliability: what was said against what came, in percent, by range of odds."""
    yield f"{'group':10}{'floors':>8}{'came %':>8}{'Brier':>8}{'skill':>7}   said > came (floors)"
    for each in found:
        bins = "  ".join(f"{100 * b.said:.0f}>{100 * b.came:.0f} ({b.count})" for b in each.bins)
        yield (
            f"{each.name:10}{each.count:>8}{100 * each.base_rate:>8.1f}"
            f"{each.brier:>8.4f}{each.skill:>7.3f}   {bins}"
        )


def odds_values(found: Sequence[Reliability]) -> list[dict[str, Any]]:
    """The same as plain values."""
    return [_rounded(asdict(each)) for each in found]


def skill_lines(found: Sequence[SkillRow]) -> Iterator[str]:
    """The error model's skill beside the published one."""
    yield f"{'':44}{'published':>10}{'here':>10}"
    for row in found:
        yield f"{row.what:44}{row.published:>10.3f}{row.here:>10.3f}"


def skill_values(found: Sequence[SkillRow]) -> list[dict[str, Any]]:
    """The same as plain values."""
    return [_rounded(asdict(each)) for each in found]


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 4)
    if isinstance(value, dict):
        return {key: _rounded(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(each) for each in value]
    return value
