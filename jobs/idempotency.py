"""Requests that create something carry a key; a repeat gets the first answer again."""

import hashlib
from datetime import datetime
from typing import Any

from django.db import connection

from jobs.access import Actor
from jobs.models import IdempotencyKey
from jobs.refusals import Refusal


class KeyReused(Refusal):
    """The same key came with another request."""

    code = "key_reused"
    status = 409


def _digest(what: Any) -> str:
    return hashlib.sha256(repr(what).encode()).hexdigest()


def answered(*, by: Actor, key: str, what: Any) -> int | None:
    """Id of what the same request made before, or None. Raises KeyReused for another request."""
    if not key:
        return None
    _wait_for_the_first(f"{by.key} {key}")
    kept = IdempotencyKey.objects.filter(owner=by.key, key=key).first()
    if kept is None:
        return None
    if kept.digest != _digest(what):
        raise KeyReused("This request key was already used for something else.")
    return kept.subject_id


def _wait_for_the_first(name: str) -> None:
    """Let a repeat that comes at the same instant wait until the first is written.

    The lock ends with the transaction. On SQLite the transaction itself is the one lock.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [name])


def keep(*, by: Actor, key: str, what: Any, subject: str, subject_id: int, now: datetime) -> None:
    """Remember what a request made, in the same transaction."""
    if key:
        IdempotencyKey.objects.create(
            owner=by.key,
            key=key,
            digest=_digest(what),
            subject=subject,
            subject_id=subject_id,
            created_at=now,
        )
