"""Reading what a service answered, with suspicion: strict JSON and named refusals. Pure."""

import json
from collections import Counter
from datetime import UTC, datetime
from math import isfinite
from typing import Any, NoReturn

DEEPEST = 40  # a forecast nests about eight deep
# A forecast has some thousands of values. Four megabytes of empty lists, which the cap on the
# size lets through, would take a hundred in memory.
MOST_PARTS = 60_000


class BadAnswer(Exception):
    """A service answered something that cannot be used; the message names what."""


def decode(body: bytes) -> dict[str, Any]:
    """The JSON object in `body`; refuses NaN, infinities, repeated keys and deep nesting.

    Refused too is a document of more than `MOST_PARTS` values, before any of it is built.
    """
    if sum(body.count(mark) for mark in (b",", b"[", b"{")) > MOST_PARTS:
        raise BadAnswer(f"the answer has more than {MOST_PARTS} parts")
    try:
        text = body.decode("utf-8-sig")
        document = json.loads(
            text,
            parse_constant=_no_constant,
            parse_float=_finite,
            object_pairs_hook=_once_each,
        )
    except UnicodeDecodeError:
        raise BadAnswer("the answer is not UTF-8 text") from None
    except RecursionError:
        raise BadAnswer("the answer is nested too deeply") from None
    except ValueError as trouble:  # JSONDecodeError, or an integer of thousands of digits
        raise BadAnswer(f"the answer is not JSON: {trouble}") from None
    if not isinstance(document, dict):
        raise BadAnswer("the answer is not a JSON object")
    _measure(document, depth=1)
    return document


def _no_constant(word: str) -> NoReturn:
    raise BadAnswer(f"the answer holds {word}, which is no number")


def _finite(digits: str) -> float:
    value = float(digits)
    if not isfinite(value):
        raise BadAnswer(f"the answer holds the number {digits[:20]}, which is too large")
    return value


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        ((twice, _),) = Counter(key for key, _ in pairs).most_common(1)
        raise BadAnswer(f"the answer says {twice[:40]!r} twice")
    return found


def _measure(value: object, *, depth: int) -> None:
    if depth > DEEPEST:
        raise BadAnswer("the answer is nested too deeply")
    if isinstance(value, dict):
        for inner in value.values():
            _measure(inner, depth=depth + 1)
    elif isinstance(value, list):
        for inner in value:
            _measure(inner, depth=depth + 1)


def section(document: object, key: str) -> dict[str, Any]:
    """The object under `key`, refused by name when it is absent or something else."""
    found = document.get(key) if isinstance(document, dict) else None
    if not isinstance(found, dict):
        raise BadAnswer(f"the answer has no object {key!r}")
    return found


def listing(document: object, key: str) -> list[Any]:
    """The list under `key`, refused by name when it is absent or something else."""
    found = document.get(key) if isinstance(document, dict) else None
    if not isinstance(found, list):
        raise BadAnswer(f"the answer has no list {key!r}")
    return found


def instant(value: object, *, word: str) -> datetime:
    """A time with its offset, in UTC; a time without an offset names no instant."""
    try:
        found = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise BadAnswer(f"{word} is not a time with an offset: {str(value)[:40]!r}")
    try:
        return found.astimezone(UTC)
    except OverflowError:
        raise BadAnswer(f"{word} is not a time of this age: {str(value)[:40]!r}") from None


def number(value: object) -> float:
    """`value` as a finite number, or NaN for anything else: null, text, true, infinity."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return float("nan")
    try:
        found = float(value)
    except OverflowError:
        return float("nan")
    return found if isfinite(found) else float("nan")
