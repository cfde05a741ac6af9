"""Text that people type or paste, made safe to show, mail and put into a calendar."""

import re
import unicodedata

# C0 and C1 controls (tab, line feed and carriage return are dealt with apart), DEL, and
# the separators that some programs read as a line break.
CONTROLS = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029]")
# Marks that turn the direction of writing: they can make one address look like another.
# Unicode Standard Annex 9, section 2 (embeddings, overrides, isolates and implicit marks).
DIRECTIONS = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
# A lone surrogate cannot be written as UTF-8, so no database takes it.
SURROGATES = re.compile("[\ud800-\udfff]")
LINE_BREAKS = re.compile("\r\n?")
MANY_BLANK_LINES = re.compile("\n{3,}")


def one_line(text: object, *, most: int) -> str:
    """`text` on one line: composed (NFC), without controls, trimmed, at most `most` long."""
    return " ".join(_cleaned(str(text)).split())[:most].rstrip()


def many_lines(text: object, *, most: int) -> str:
    """`text` with its line breaks kept: composed, without controls, trimmed, capped."""
    lines = (line.rstrip() for line in _cleaned(str(text)).replace("\t", " ").split("\n"))
    return MANY_BLANK_LINES.sub("\n\n", "\n".join(lines)).strip()[:most].rstrip()


def _cleaned(text: str) -> str:
    text = LINE_BREAKS.sub("\n", text)
    for unwanted in (CONTROLS, DIRECTIONS, SURROGATES):
        text = unwanted.sub(" " if unwanted is CONTROLS else "", text)
    return unicodedata.normalize("NFC", text)
