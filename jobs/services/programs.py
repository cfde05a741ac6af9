"""Tokens of other programs: made once and shown once, stopped at once."""

import secrets
from datetime import datetime, timedelta

from django.db import DatabaseError

from jobs import audit
from jobs.access import Actor
from jobs.models import AccessToken, Branch, Scope
from jobs.models.programs import digest
from jobs.refusals import Invalid, NotFound
from jobs.text import one_line
from jobs.writing import run_write

LONGEST_DAYS = 730
# When a token was last used is for people, so it need not be written at every request.
NOTE_EVERY = timedelta(minutes=5)
PREFIX = "slab_"  # so that scanners of code and logs know it for a secret


@run_write
def make_token(
    *, branch: Branch, name: str, scope: str, days: int | None, by: Actor, now: datetime
) -> tuple[AccessToken, str]:
    """A new token and its secret, which is stored nowhere. Raises Invalid.

    `days` is how long it holds, 1 to 730; None is until it is stopped.
    """
    problems = {}
    name = one_line(name, most=80)
    if not name:
        problems["name"] = "Please name the program, such as Bookkeeping."
    if scope not in Scope.values:
        problems["scope"] = "Please choose what it may do."
    if days is not None and not 1 <= days <= LONGEST_DAYS:
        problems["days"] = f"A token holds for 1 to {LONGEST_DAYS} days, or until it is stopped."
    if by.user is None:
        raise Invalid({"name": "A token acts for somebody who signs in."})
    if problems:
        raise Invalid(problems)
    secret = PREFIX + secrets.token_urlsafe(32)
    token: AccessToken = AccessToken.objects.create(
        branch=branch,
        made_by=by.user,
        name=name,
        digest=digest(secret),
        scope=scope,
        made_at=now,
        ends_at=None if days is None else now + timedelta(days=days),
    )
    _record(token, by=by, now=now, action="make")
    return token, secret


@run_write
def stop_token(*, branch: Branch, token_id: int, by: Actor, now: datetime) -> AccessToken:
    """The token opens nothing from now on. Stopping twice changes nothing."""
    wanted = AccessToken.objects.of_branch(branch).filter(pk=token_id)
    token: AccessToken | None = wanted.select_for_update().first()
    if token is None:
        raise NotFound("There is no such token in this branch.")
    if token.stopped_at is None:
        token.stopped_at = now
        token.save(update_fields=["stopped_at"])
        _record(token, by=by, now=now, action="stop")
    return token


def find_token(secret: str, *, now: datetime) -> AccessToken | None:
    """The live token behind a secret, or None."""
    live = AccessToken.objects.live(now).select_related("made_by", "branch")
    token: AccessToken | None = live.filter(digest=digest(secret)).first()
    return token


def note_use(token: AccessToken, *, now: datetime) -> None:
    """Remember that a token was used; a busy database must not cost the program its answer."""
    if token.last_used_at and now - token.last_used_at < NOTE_EVERY:
        return
    try:
        AccessToken.objects.filter(pk=token.pk).update(last_used_at=now)
    except DatabaseError:
        return


def _record(token: AccessToken, *, by: Actor, now: datetime, action: str) -> None:
    audit.record(
        branch=token.branch,
        by=by,
        subject="token",
        subject_id=token.pk,
        action=action,
        now=now,
        after={"name": token.name, "scope": token.scope},
    )
