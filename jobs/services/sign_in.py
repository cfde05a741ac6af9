"""Signing in: so many tries, then a wait, however many are made in the same instant."""

import hashlib
from datetime import datetime, timedelta

from jobs.models import SignInAttempt
from jobs.refusals import Refusal
from jobs.writing import run_write

STRETCH = timedelta(minutes=15)
KEPT = timedelta(days=1)
TRIES_AN_ACCOUNT = 5
TRIES_AN_ADDRESS = 40


class TooManyTries(Refusal):
    """The account or the address has to wait until the next stretch of time."""

    code = "too_many_tries"
    status = 429


def subject_of(username: str) -> str:
    """How an account is named among attempts: a digest, for people mistype passwords there."""
    return "account:" + hashlib.sha256(username.strip().casefold().encode()).hexdigest()


@run_write
def claim_try(*, username: str, address: str, now: datetime) -> None:
    """Claim a try before its password is hashed, which is dear. Raises TooManyTries."""
    SignInAttempt.objects.filter(at__lt=now - KEPT).delete()
    _claim(subject_of(username), limit=TRIES_AN_ACCOUNT, now=now)
    _claim(f"address:{address}"[:80], limit=TRIES_AN_ADDRESS, now=now)


@run_write
def forget_tries(*, username: str) -> None:
    """A right password clears the account's earlier slips."""
    SignInAttempt.objects.filter(subject=subject_of(username)).delete()


def _claim(subject: str, *, limit: int, now: datetime) -> None:
    """The next free number of this stretch; the database hands each number out once."""
    stretch = int(now.timestamp() // STRETCH.total_seconds())
    taken = SignInAttempt.objects.filter(subject=subject, stretch=stretch).count()
    for number in range(taken + 1, limit + 1):
        _, is_new = SignInAttempt.objects.get_or_create(
            subject=subject, stretch=stretch, number=number, defaults={"at": now}
        )
        if is_new:
            return
    minutes = STRETCH.seconds // 60
    raise TooManyTries(f"Too many tries to sign in. Please wait up to {minutes} minutes.")
