"""How the forecast services stand with us: whom to ask now, and what each answer changes.

Kept in the database, because several processes ask. Errors of one place's cell silence the
service for that place only; refusals of us (403, 429) and a dead line silence it for all.
"""

import random
from datetime import datetime, timedelta

from django.db.models import F

from weather.answers import BadAnswer
from weather.http import Refused, Trouble
from weather.models import Place, PlaceServiceState, ServiceState
from weather.providers.contract import Said
from weather.rules.hours import floor_hour

# Requests an hour, 300 in all: room for an office with open floors in dozens of towns. What
# is over waits for the next hour; a fault of ours never becomes a flood.
REQUESTS_AN_HOUR = {"nws": 150, "nws_stations": 40, "metno": 70, "open_meteo": 40}
FIRST_WAIT = timedelta(minutes=5)
LONGEST_WAIT = timedelta(minutes=60)
LONGEST_ASKED_WAIT = timedelta(hours=6)
# A line that fails once is tried again at the next place; from the third time on it rests.
FAILURES_ALLOWED = 2
# Expires of a broken cache can lie days ahead.
LONGEST_EXPIRY = timedelta(hours=2)


def reason_not_to_ask(service: str, place: Place, *, now: datetime) -> str:
    """Why the service is not asked for this place at `now`; empty when it may be.

    Asking counts against the hour's budget at once, by one conditional update.
    """
    state, _ = ServiceState.objects.get_or_create(service=service)
    if state.not_before and now < state.not_before:
        return f"{service} is left alone until {state.not_before:%H:%M} UTC: {state.trouble}"
    here = _here(service, place)
    if here.not_before and now < here.not_before:
        return f"{service} rests for this place until {here.not_before:%H:%M} UTC: {here.trouble}"
    if not _spend(state, now=now):
        return f"{service} has been asked {REQUESTS_AN_HOUR[service]} times this hour"
    return ""


def not_expired(service: str, place: Place, *, now: datetime) -> bool:
    """Whether the service said that its last answer still holds."""
    expires_at = _here(service, place).expires_at
    return expires_at is not None and now < expires_at


def last_modified(service: str, place: Place) -> str:
    """The Last-Modified to send back, exactly as it came."""
    return _here(service, place).last_modified


def answered_before(service: str, place: Place, moment: datetime) -> bool:
    """Whether the service has not answered for this place since `moment`."""
    answered_at = _here(service, place).answered_at
    return answered_at is None or answered_at <= moment


def _here(service: str, place: Place) -> PlaceServiceState:
    state, _ = PlaceServiceState.objects.get_or_create(service=service, place=place)
    return state


def _spend(state: ServiceState, *, now: datetime) -> bool:
    hour = floor_hour(now)
    mine = ServiceState.objects.filter(pk=state.pk)
    most = REQUESTS_AN_HOUR[state.service]
    if mine.filter(budget_hour=hour, budget_used__lt=most).update(budget_used=F("budget_used") + 1):
        return True
    return bool(mine.exclude(budget_hour=hour).update(budget_hour=hour, budget_used=1))


def spent_more(service: str, requests: int, *, now: datetime) -> None:
    """Count the requests of an answer beyond the first: look-ups, redirects and tries again."""
    if requests > 0:
        ServiceState.objects.filter(service=service, budget_hour=floor_hour(now)).update(
            budget_used=F("budget_used") + requests
        )


def clock_seen(service: str, ahead_s: float | None) -> None:
    """Keep by how much the service's clock was ahead of ours; None where it did not say."""
    ServiceState.objects.filter(service=service).update(clock_ahead_s=ahead_s)


def budget_spent(service: str, *, now: datetime) -> bool:
    """Whether the service may not be asked any more in this hour."""
    state = ServiceState.objects.filter(service=service, budget_hour=floor_hour(now)).first()
    return state is not None and state.budget_used >= REQUESTS_AN_HOUR[service]


def answered(service: str, place: Place, said: Said, *, now: datetime) -> None:
    """The service answered: forget its failures, keep what it wants to hear next time."""
    expires_at = min(said.expires_at, now + LONGEST_EXPIRY) if said.expires_at else None
    _here(service, place)
    PlaceServiceState.objects.filter(service=service, place=place).update(
        not_before=None,
        failures=0,
        trouble="",
        answered_at=now,
        expires_at=expires_at,
        last_modified=said.last_modified,
    )
    ServiceState.objects.filter(service=service).update(
        not_before=None,
        failures=0,
        trouble="",
        answered_at=now,
        warning="; ".join(said.warnings)[:300],
    )


def failed(service: str, place: Place, trouble: Trouble | BadAnswer, *, now: datetime) -> None:
    """The service failed: rest it for this place, or for all where the fault concerns all."""
    kind = "place" if isinstance(trouble, BadAnswer) else trouble.kind
    said = str(trouble)[:300]
    if kind == "place":
        here = _here(service, place)
        failures = here.failures + 1
        PlaceServiceState.objects.filter(pk=here.pk).update(
            failures=failures, trouble=said, not_before=now + _rest(failures, trouble)
        )
        return
    state, _ = ServiceState.objects.get_or_create(service=service)
    failures = state.failures + 1
    resting = kind == "stop" or failures > FAILURES_ALLOWED
    ServiceState.objects.filter(pk=state.pk).update(
        failures=failures,
        trouble=said,
        not_before=now + _rest(failures, trouble) if resting else None,
    )


def _rest(failures: int, trouble: Trouble | BadAnswer) -> timedelta:
    """How long to leave a service alone: doubling, longer when it asks for longer.

    Some seconds of chance keep all the places from coming back at the same moment.
    """
    rest = min(LONGEST_WAIT, FIRST_WAIT * float(2 ** min(failures - 1, 10)))
    if isinstance(trouble, Refused):
        asked = timedelta(seconds=min(trouble.retry_after_s, LONGEST_ASKED_WAIT.total_seconds()))
        rest = max(rest, asked, LONGEST_WAIT if trouble.status == 403 else rest)
    return rest + timedelta(seconds=random.uniform(0, 60))  # noqa: S311
