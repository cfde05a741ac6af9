"""A file of waiting floors as text and cells: what it is written in, and where each row begins."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from io import StringIO

MOST_BYTES = 2 * 1024 * 1024
MOST_ROWS = 5_000
VALUE_MOST = 40


@dataclass(frozen=True)
class RowProblem:
    """One thing that is wrong: the line of the file (0: the whole file), the column, why."""

    line: int
    column: str
    reason: str
    value: str = ""


class Unusable(Exception):
    """The file as a whole cannot be read; `problem` says where and why."""

    def __init__(self, reason: str, *, line: int = 0, column: str = "") -> None:
        super().__init__(reason)
        self.problem = RowProblem(line=line, column=column, reason=reason)


# How files begin that are not UTF-8 text. UTF-32 comes first: it begins like UTF-16.
_BEGINNINGS = (
    (b"\xff\xfe\x00\x00", "UTF-32"),
    (b"\x00\x00\xfe\xff", "UTF-32"),
    (b"\xff\xfe", "UTF-16"),
    (b"\xfe\xff", "UTF-16"),
    (b"PK\x03\x04", "a workbook"),
    (b"\xd0\xcf\x11\xe0", "a workbook"),
    (b"%PDF", "a PDF"),
)
_SAVE_AS = "save it as “CSV UTF-8” and bring that."


def read_text(data: bytes) -> str:
    """The text of the file, with plain line ends; raises Unusable naming what it is instead."""
    if len(data) > MOST_BYTES:
        raise Unusable("The file is larger than 2 MB; bring it in parts.")
    for beginning, name in _BEGINNINGS:
        if data.startswith(beginning):
            raise Unusable(f"This file is {name}, not CSV in UTF-8; {_SAVE_AS}")
    # Text in UTF-16 without a mark has a zero in nearly every second byte.
    if data.count(0) > len(data) // 4:
        raise Unusable(f"This file is UTF-16, not CSV in UTF-8; {_SAVE_AS}")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as trouble:
        line = data.count(b"\n", 0, trouble.start) + 1
        raise Unusable(
            "This file is not UTF-8; it looks like Windows-1252 or Latin-1 "
            f"(byte 0x{data[trouble.start]:02X}); {_SAVE_AS}",
            line=line,
        ) from None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not text.strip():
        raise Unusable("The file is empty.")
    if "\x00" in text:
        line = text.count("\n", 0, text.index("\x00")) + 1
        raise Unusable("There is a NUL character, which no text has; remove it.", line=line)
    return text


@dataclass(frozen=True)
class Row:
    """The cells of a row and the line of the file on which it begins."""

    line: int
    cells: tuple[str, ...]


def rows_of(text: str) -> Iterator[Row]:
    """The rows that are not empty, the header first; raises Unusable where quotes go wrong."""
    reader = csv.reader(StringIO(text), delimiter=separator(text), strict=True)
    begins = 1
    count = 0
    while True:
        try:
            cells = next(reader, None)
        except csv.Error as trouble:
            raise Unusable(_said(trouble), line=begins) from None
        if cells is None:
            return
        if any(cell.strip() for cell in cells):
            count += 1
            if count > MOST_ROWS + 1:
                raise Unusable(f"The file has more than {MOST_ROWS:,} rows; bring it in parts.")
            yield Row(line=begins, cells=tuple(_unquoted(cell) for cell in cells))
        begins = reader.line_num + 1


def separator(text: str) -> str:
    """The sign between cells: whichever of comma and semicolon the header has more of."""
    header = next((line for line in text.split("\n") if line.strip()), "")
    return ";" if header.count(";") > header.count(",") else ","


def _said(trouble: csv.Error) -> str:
    words = str(trouble)
    if "unexpected end" in words:
        return "A quotation mark is opened on this line and never closed."
    if "field limit" in words:
        return "A cell is far too long; a quotation mark may be missing."
    return 'A quoted cell goes on after its closing quotation mark; write a quote inside as “""”.'


def _unquoted(cell: str) -> str:
    """The cell without the one apostrophe that keeps spreadsheets from running it.

    Exports put it before text that begins with = + - @, so a round trip gives the text back.
    """
    text = cell.strip()
    if text.startswith("'") and text[1:].lstrip().startswith(("=", "+", "-", "@")):
        return text[1:]
    return text
