"""Cells of a CSV file that goes out: no text of theirs is run by a spreadsheet.

A cell that begins with one of these signs, also behind blanks, may be taken for a formula (OWASP,
"CSV injection"), so such a text gets one apostrophe, which the import takes off again. Lines end
as RFC 4180 says.
"""

import csv
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from typing import Any

RISKY = ("=", "+", "-", "@")
BYTE_ORDER_MARK = "\ufeff"  # so that spreadsheets read UTF-8


class _Line:
    """A file that hands each line back instead of keeping it."""

    def write(self, text: str) -> str:
        return text


def csv_lines(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    """The lines of a file, header first; nothing is held but one row."""
    writer = csv.writer(_Line())
    yield BYTE_ORDER_MARK + str(writer.writerow(columns))
    for row in rows:
        yield str(writer.writerow([cell(value) for value in row]))


def cell(value: Any) -> str | int | float:
    """One value as it stands in the file; what is not known is empty, never a zero."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return value
    if isinstance(value, datetime | date):
        return value.isoformat()
    text = str(value)
    return f"'{text}" if text.lstrip().startswith(RISKY) else text
