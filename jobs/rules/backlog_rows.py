"""A backlog of waiting floors as rows: every value read, and every problem with its place."""

import difflib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import cast

from jobs.rules.backlog_text import VALUE_MOST, Row, RowProblem, Unusable, read_text, rows_of
from jobs.rules.new_jobs import NewFloor, NewJob
from jobs.rules.typed import (
    Unreadable,
    read_count,
    read_day,
    read_days,
    read_moment,
    read_number,
    read_yes,
)
from jobs.rules.units import m2_from_ft2, m_from_ft

Read = Callable[[str, bool], object]


@dataclass(frozen=True)
class Column:
    """One column: its name in the header, the field it fills, how its cells are read."""

    name: str
    field: str  # of NewJob, or "floor." and a field of NewFloor
    about: str
    read: Read = lambda text, us: text
    needed: bool = False


EXPOSURES = {
    "interior": "interior", "indoors": "interior", "basement": "interior",
    "indoors or basement": "interior",
    "garage": "garage", "closed garage": "garage",
    "apron": "apron", "garage apron": "apron",
    "carport": "carport",
    "porch": "porch", "roofed porch": "porch",
    "open": "open", "patio": "open", "drive": "open", "open patio": "open",
    "open patio or drive": "open",
    "pool deck": "pool_deck", "pool_deck": "pool_deck",
}  # fmt: skip
CONDITIONS = {
    "bare": "bare", "bare concrete": "bare",
    "sealer": "sealer", "paint": "sealer", "thin paint or sealer": "sealer",
    "thick": "thick", "glue": "thick", "thick coating or glue": "thick",
}  # fmt: skip
WISHES = {
    "any": "any", "any day": "any",
    "prefers": "prefers", "prefers a day": "prefers",
    "fixed": "fixed", "only this day": "fixed",
}  # fmt: skip


def _one_of(words: Mapping[str, str]) -> Read:
    shown = ", ".join(dict.fromkeys(words.values())).replace("_", " ")

    def read(text: str, us: bool) -> str:
        found = words.get(" ".join(text.casefold().split()))
        if found is None:
            raise Unreadable(f"It must be one of: {shown}.")
        return found

    return read


def _area(text: str, us: bool) -> float:
    number = read_number(text, us=us)
    return m2_from_ft2(number) if us else number


def _length(text: str, us: bool) -> float:
    number = read_number(text, us=us)
    return m_from_ft(number) if us else number


def _count(text: str, us: bool) -> int:
    return read_count(text)


def _yes(text: str, us: bool) -> bool:
    return read_yes(text)


def _day(text: str, us: bool) -> date:
    return read_day(text, us=us)


def _days(text: str, us: bool) -> tuple[date, ...]:
    return read_days(text, us=us)


def _moment(text: str, us: bool) -> datetime:
    return read_moment(text, us=us)


COLUMNS = (
    Column("customer", "customer_name", "name", needed=True),
    Column("e-mail", "email", "e-mail or telephone is needed"),
    Column("telephone", "telephone", "e-mail or telephone is needed"),
    Column("street", "street", "street and number", needed=True),
    Column("town", "town", "taken from the postal code if empty"),
    Column("region", "region", "state"),
    Column("postal code", "postal_code", "five digits, United States; else give the next three"),
    Column("latitude", "latitude", "degrees, as 33.521"),
    Column("longitude", "longitude", "degrees, west is below zero"),
    Column("zone", "zone", "time zone, as America/Chicago"),
    Column("floor", "floor.name", "what the floor is called"),
    Column("exposure", "floor.exposure", "indoors, garage, apron, carport, porch, open, pool deck",
           _one_of(EXPOSURES), needed=True),
    Column("area", "floor.area_m2", "square feet (square meters in a metric branch)", _area,
           needed=True),
    Column("edge", "floor.edge_m", "length of the edge; estimated from the area if empty", _length),
    Column("cracks", "floor.crack_m", "length of cracks", _length),
    Column("steps", "floor.steps", "how many", _count),
    Column("stem wall", "floor.stem_wall_m", "length of stem wall", _length),
    Column("condition", "floor.condition", "bare, sealer or thick", _one_of(CONDITIONS)),
    Column("bays", "floor.bays", "into how many sections joints divide it", _count),
    Column("porous", "floor.porous", "yes for block or rough concrete", _yes),
    Column("way in", "way_in_m", "width of the narrowest way in, in feet (meters)", _length),
    Column("volts", "volts", "of the best outlet, as 240", _count),
    Column("amps", "amps", "of its fuse, as 30", _count),
    Column("system", "system", "the name of one of your coating systems", needed=True),
    Column("wish", "day_wish", "any, prefers or fixed", _one_of(WISHES)),
    Column("day", "wished_day", "the day wished for, as 2026-06-18", _day),
    Column("impossible days", "impossible_days",
           "as 2026-06-18, 2026-06-22 to 2026-06-26 (quote the cell if commas part the cells)",
           _days),
    Column("car needed by", "car_needed_by", "day and time at the site, as 2026-06-19 17:00",
           _moment),
    Column("can come soon", "can_come_soon", "yes or no", _yes),
    Column("color", "color", "flake blend"),
    Column("notes", "notes", "anything else"),
)  # fmt: skip
FIELD_COLUMN = {
    **{column.field: column.name for column in COLUMNS},
    "system_id": "system",
    "floors": "floor",
}
Cells = Mapping[str, object]


@dataclass(frozen=True)
class BacklogRow:
    """One order of the file; `bad` are the columns whose cells could not be read."""

    line: int
    new: NewJob
    system: str
    bad: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Backlog:
    """What a file says: its rows, and everything that is wrong with how it is written."""

    rows: tuple[BacklogRow, ...]
    problems: tuple[RowProblem, ...]


def column_of(field: str) -> str:
    """The column in which a field of `NewJob` is typed."""
    return FIELD_COLUMN.get(re.sub(r"^floors\.\d+\.", "floor.", field), field)


def read_backlog(data: bytes, *, us: bool) -> Backlog:
    """The orders of a CSV file. `us`: areas are sq ft, lengths ft, dates may be 6/18/2026."""
    try:
        rows = list(rows_of(read_text(data)))
        columns = _columns(rows[0] if rows else Row(line=1, cells=()))
    except Unusable as trouble:
        return Backlog(rows=(), problems=(trouble.problem,))
    except BadHeader as trouble:
        return Backlog(rows=(), problems=tuple(trouble.problems))
    if len(rows) == 1:
        return Backlog(rows=(), problems=(RowProblem(1, "", "There is a header but no row."),))
    problems: list[RowProblem] = []
    read = [_read_row(row, columns, us=us, problems=problems) for row in rows[1:]]
    orders = [row for row in read if row is not None]
    return Backlog(rows=tuple(orders), problems=(*problems, *_repeats(orders)))


class BadHeader(Exception):
    """The header cannot be used; `problems` say why."""

    def __init__(self, problems: Sequence[RowProblem]) -> None:
        super().__init__("The header cannot be used.")
        self.problems = problems


def _columns(header: Row) -> list[Column]:
    known = {_plain(column.name): column for column in COLUMNS}
    problems: list[RowProblem] = []
    columns: list[Column] = []
    for number, cell in enumerate(header.cells, start=1):
        column = known.get(_plain(cell))
        if column is None:
            problems.append(RowProblem(header.line, cell[:VALUE_MOST], _unknown(cell, number)))
        elif column in columns:
            reason = "There are two columns of this name; keep one."
            problems.append(RowProblem(header.line, column.name, reason))
        else:
            columns.append(column)
    problems += [
        RowProblem(header.line, column.name, "This column is missing.")
        for column in COLUMNS
        if column.needed and column not in columns
    ]
    if problems:
        raise BadHeader(problems)
    return columns


def _plain(name: str) -> str:
    return "".join(each for each in name.casefold() if each.isalnum())


def _unknown(cell: str, number: int) -> str:
    if not cell:
        return f"Column {number} has no name."
    names = [column.name for column in COLUMNS]
    near = difflib.get_close_matches(cell.casefold()[:VALUE_MOST], names, n=1)
    return "There is no column of this name" + (f"; is it “{near[0]}”?" if near else ".")


def _read_row(
    row: Row, columns: Sequence[Column], *, us: bool, problems: list[RowProblem]
) -> BacklogRow | None:
    if len(row.cells) != len(columns):
        reason = f"This row has {len(row.cells)} cells; the header has {len(columns)}."
        problems.append(RowProblem(row.line, "", reason))
        return None
    cells: dict[str, object] = {}
    bad: set[str] = set()
    for column, text in zip(columns, row.cells, strict=True):
        if not text:
            continue  # what is left empty keeps its default
        try:
            cells[column.field] = column.read(text, us)
        except Unreadable as trouble:
            bad.add(column.name)
            problems.append(RowProblem(row.line, column.name, str(trouble), text[:VALUE_MOST]))
    system = cast(str, cells.pop("system", ""))
    return BacklogRow(row.line, _order(cells), system, frozenset(bad))


def _order(cells: Cells) -> NewJob:
    floor = {
        field.removeprefix("floor."): value
        for field, value in cells.items()
        if field.startswith("floor.")
    }
    order = {field: value for field, value in cells.items() if not field.startswith("floor.")}
    return NewJob(
        **{  # type: ignore[arg-type]  # every column reads what its field holds
            "customer_name": "",
            "street": "",
            "system_id": None,
            "floors": (NewFloor(**{"exposure": "", "area_m2": None, **floor}),),  # type: ignore[arg-type]
            **order,
        }
    )


def _repeats(rows: Sequence[BacklogRow]) -> list[RowProblem]:
    first: dict[tuple[NewJob, str], int] = {}
    problems = []
    for row in rows:
        if row.bad:
            continue
        line = first.setdefault((row.new, row.system), row.line)
        if line != row.line:
            reason = f"This row says the same as line {line}; two floors need two names."
            problems.append(RowProblem(row.line, "", reason))
    return problems
