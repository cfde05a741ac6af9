"""Plain text: what may leave the house in calendars and mail headers, of what people typed."""

import unicodedata

# Joiners are part of how some scripts and emoji are written; other format characters can
# turn the reading direction or hide text, and control characters break whole calendars.
KEPT_FORMATS = {"\u200c", "\u200d"}
DROPPED = {"Cc", "Cf", "Cs", "Cn", "Co"}
BREAKS = ("\r\n", "\r", "\x0b", "\x0c", "\x85", "\u2028", "\u2029")


def clean(text: str) -> str:
    """`text` without control, direction and half characters; line breaks are \\n."""
    for line_break in BREAKS:
        text = text.replace(line_break, "\n")
    text = text.replace("\t", " ")
    return "".join(
        letter
        for letter in text
        if letter == "\n" or letter in KEPT_FORMATS or unicodedata.category(letter) not in DROPPED
    )


def one_line(text: str) -> str:
    """The same on one line, with single spaces."""
    return " ".join(clean(text).split())
