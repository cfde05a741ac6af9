"""Strict JSON: what Python's reader would let through is refused, with a name."""

import pytest

from weather.answers import BadAnswer, decode, instant, number


@pytest.mark.parametrize(
    ("body", "reason"),
    [
        (b'{"t": NaN}', "NaN"),
        (b'{"t": -Infinity}', "Infinity"),
        (b'{"t": 1e999}', "too large"),
        (b'{"t": 1, "t": 2}', "twice"),
        (b'{"t": ' + b"9" * 5000 + b"}", "not JSON"),
        (b'{"a":' * 100 + b"1" + b"}" * 100, "nested"),
        (b"[" * 50_000, "nested"),
        (b'{"t": [' + b"[]," * 60_000 + b"[]]}", "60000 parts"),
        (b"[1, 2]", "not a JSON object"),
        (b"<html>Sign in</html>", "not JSON"),
        (b'{"t": 1', "not JSON"),
        (b"", "not JSON"),
        (b"\xff\xfe{}", "UTF-8"),
    ],
)
def test_a_document_that_is_not_what_it_seems_is_refused(body, reason):
    with pytest.raises(BadAnswer, match=reason):
        decode(body)


def test_a_byte_order_mark_is_no_fault():
    assert decode(b'\xef\xbb\xbf{"t": 1}') == {"t": 1}


@pytest.mark.parametrize("value", [None, "5", True, [], {}, 10**400])
def test_what_is_no_number_is_unknown(value):
    found = number(value)

    assert found != found


@pytest.mark.parametrize("value", [None, "", 5, "2026-03-10T12:00:00", "0001-01-01T00:00:00+14:00"])
def test_a_time_that_names_no_instant_is_refused(value):
    with pytest.raises(BadAnswer):
        instant(value, word="updateTime")
