"""Long histories for measuring: one quarter by the services, and copies of it before.

Twenty quarters are five years. Only the newest is written floor by floor; the others are its
rows again under other numbers, 13 weeks earlier each, so that hundreds of thousands of floors
take minutes. For throwaway databases on SQLite only.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, models, transaction

from dispatch.benchmarks.company import Office, Slot, slots
from dispatch.models import (
    Booking,
    CalendarEntry,
    Notice,
    Receipt,
    Stamp,
    Stint,
    StoredVerdict,
)
from jobs.models import AuditEvent, Customer, Floor, Job, Site

Marks = dict[Any, int]  # by model
QUARTER = timedelta(weeks=13)
QUARTERS = 20
# Older than anything that feeds and pages of today look back on, so that a longer history is
# never a longer answer.
OVER_SINCE = timedelta(days=62)
# In the order of their foreign keys.
TABLES: tuple[Any, ...] = (
    Customer,
    Site,
    Floor,
    Job,
    Job.floors.through,
    Booking,
    Stint,
    Stint.installers.through,
    Stint.machines.through,
    Stamp,
    CalendarEntry,
    StoredVerdict,
    Notice,
    Receipt,
    AuditEvent,
)
# Columns that must be another value in every row, and those that name a row without a key.
OTHERWISE = {
    (CalendarEntry, "uid"): "lower(hex(randomblob(16)))",
    (Notice, "key"): "key || ':' || {quarter}",
    (AuditEvent, "subject_id"): "subject_id + {quarter} * CASE subject "
    "WHEN 'job' THEN {job} WHEN 'booking' THEN {booking} ELSE 0 END",
}


def quarter(
    offices: Sequence[Office], *, floors: int, seed: int, now: datetime
) -> list[tuple[Office, list[Slot]]]:
    """When each office coats its share of `floors`, in the quarter that ended `OVER_SINCE` ago."""
    found = []
    for number, office in enumerate(offices):
        until = office.branch.today(now) - OVER_SINCE
        share = floors // len(offices) + (number < floors % len(offices))
        found.append(
            (office, slots(office, since=until - QUARTER, until=until, floors=share, seed=seed))
        )
    return found


def marks() -> Marks:
    """The last number in every table, so that `repeat` can leave out what came between two."""
    return {
        model: int(model.objects.aggregate(most=models.Max("pk"))["most"] or 0) for model in TABLES
    }


def repeat(*, quarters: int, but: tuple[Marks, Marks] | None = None) -> None:
    """Every floor again, 1 to `quarters` quarters before, without the rows between two marks."""
    spans = marks()
    since, until = but or (spans, spans)
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("PRAGMA defer_foreign_keys = ON")
        for model in TABLES:
            rows = f"id <= {spans[model]} AND NOT (id > {since[model]} AND id <= {until[model]})"
            for earlier in range(1, quarters + 1):
                cursor.execute(_copy(model, rows, spans, earlier))


def _copy(model: Any, rows: str, spans: Marks, earlier: int) -> str:
    """The statement that copies `rows` of a table by `earlier` quarters."""
    about = model._meta  # noqa: SLF001  Django's documented way to a model's columns
    columns = ", ".join(f'"{each.column}"' for each in about.concrete_fields)
    values = ", ".join(_value(model, each, spans, earlier) for each in about.concrete_fields)
    source = f'FROM "{about.db_table}" WHERE {rows}'
    return f'INSERT INTO "{about.db_table}" ({columns}) SELECT {values} {source}'


def _value(model: Any, field: Any, spans: Marks, earlier: int) -> str:
    otherwise = OTHERWISE.get((model, field.name))
    if otherwise:
        return otherwise.format(quarter=earlier, job=spans[Job], booking=spans[Booking])
    if field.primary_key:
        return f"{field.column} + {earlier * spans[model]}"
    if field.related_model in spans:
        return f"{field.column} + {earlier * spans[field.related_model]}"
    if isinstance(field, models.DateTimeField):
        return f"datetime({field.column}, '-{earlier * QUARTER.days} days')"
    return f'"{field.column}"'
