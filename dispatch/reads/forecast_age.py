"""How old a place's forecast is and why, for the screens that rest on it."""

from datetime import datetime
from zoneinfo import ZoneInfo

from dispatch.rules.forecast_age import age_sentence, is_old, why_sentence
from jobs.models import Branch
from weather import behaviour
from weather.models import Place
from weather.reads import newest_issue


def forecast_age(place: Place, *, now: datetime, zone: ZoneInfo) -> str:
    """The age in a sentence and, where the forecast is old or missing, the reason in another."""
    issued_at = newest_issue(place.pk, now=now)
    age = age_sentence(issued_at=issued_at, now=now, zone=zone)
    return " ".join(part for part in (age, _why(place, issued_at, now, zone)) if part)


def why_old(place: Place, now: datetime, zone: ZoneInfo) -> str:
    """Why there is no newer forecast of a place; empty while it is not old."""
    return _why(place, newest_issue(place.pk, now=now), now, zone)


def stale(branch: Branch, *, now: datetime) -> str:
    """Age and reason where the forecast of the branch's depot is old, for every screen; else ""."""
    if not is_old(newest_issue(branch.depot_place_id, now=now), now=now):
        return ""
    return forecast_age(branch.depot_place, now=now, zone=branch.tz)


def _why(place: Place, issued_at: datetime | None, now: datetime, zone: ZoneInfo) -> str:
    if not is_old(issued_at, now=now):
        return ""
    return why_sentence(
        off=behaviour.asking_is_off(),
        troubles=[(service.title, said) for service, said, _ in behaviour.troubles_at(place)],
        checked_at=place.checked_at,
        zone=zone,
    )
