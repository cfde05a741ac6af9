"""The place's own record of wet days by month, and the odds that come of it.

Hours that have gone by are kept for weeks only, so they are counted here before they go.
"""

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime, timedelta

from django.db import transaction

from weather.models import MonthRecord, Place
from weather.rules.seasonal import PERIODS_H, Counted, SeasonalOdds, counted, seasonal

# Stations report late, and two days of forecasts may still be written over.
SETTLED = timedelta(days=3)
COLUMNS = {24: "days", 12: "halves", 6: "quarters", 1: "hours"}


def seasonal_odds(
    place: Place, month: int, *, wet_day_pct: Mapping[str, float] | None = None
) -> SeasonalOdds:
    """How often it is wet at `place` in a month; `wet_day_pct` is the table a branch has typed."""
    row = place.month_records.filter(month=month).first()
    record = {
        length: Counted(getattr(row, name), getattr(row, f"wet_{name}"))
        for length, name in COLUMNS.items()
        if row is not None
    }
    return seasonal(month, record, wet_day_pct or {})


@transaction.atomic
def tally(place: Place, *, now: datetime) -> int:
    """Count the settled days that are not counted yet; return how many. Safe to repeat."""
    held = Place.objects.select_for_update().get(pk=place.pk)
    days = place.past_days.filter(day__lt=(now - SETTLED).date()).order_by("day")
    if held.tallied_until is not None:
        days = days.filter(day__gt=held.tallied_until)
    sums: dict[int, dict[int, Counted]] = defaultdict(dict)
    rows = list(days)
    for row in rows:
        for length, found in counted(row.hours().rain_mm).items():
            before = sums[row.day.month].get(length, Counted())
            sums[row.day.month][length] = Counted(
                before.known + found.known, before.wet + found.wet
            )
    for month, told in sums.items():
        _add(place, month, told)
    if rows:
        Place.objects.filter(pk=place.pk).update(tallied_until=rows[-1].day)
    return len(rows)


def _add(place: Place, month: int, sums: Mapping[int, Counted]) -> None:
    record, _ = MonthRecord.objects.get_or_create(place=place, month=month)
    for length in PERIODS_H:
        name = COLUMNS[length]
        setattr(record, name, getattr(record, name) + sums[length].known)
        setattr(record, f"wet_{name}", getattr(record, f"wet_{name}") + sums[length].wet)
    record.save()
