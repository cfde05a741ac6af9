"""People's text, made safe to show, mail and put into a calendar."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.text import many_lines, one_line


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("  Ada   Fields ", "Ada Fields"),
        ("Ada\r\nBcc: somebody", "Ada Bcc: somebody"),
        ("Ada\rFields", "Ada Fields"),
        ("Ada\x00Fields", "Ada Fields"),
        ("Ada\x0bFields\x85", "Ada Fields"),
        ("Ada\u2028Fields", "Ada Fields"),
        ("\u202egpj.exe\u2069", "gpj.exe"),
        ("Jose\u0301", "Jos\u00e9"),  # composed: Unicode Standard Annex 15, form C
        ("\ud800Ada", "Ada"),
        ("👩\u200d🔧 Rosa", "👩\u200d🔧 Rosa"),  # a joiner holds a picture together
    ],
)
def test_one_line_stays_one_line(typed, kept):
    assert one_line(typed, most=80) == kept


def test_notes_keep_their_lines_but_not_heaps_of_them():
    assert many_lines(" gate\r\n\r\n\r\n\r\n4711 \n", most=80) == "gate\n\n4711"


def test_a_text_is_cut_where_it_is_too_long():
    assert one_line("abc def", most=4) == "abc"


@given(st.text(max_size=60))
def test_nothing_unsafe_is_left(typed):
    kept = one_line(typed, most=40)

    assert len(kept) <= 40
    assert not any(unicodedata.category(each) in {"Cc", "Cs", "Zl", "Zp"} for each in kept)
    assert kept == one_line(kept, most=40)
    kept.encode()
