"""How old a place's forecast is and why, for the screens that rest on it."""

from datetime import datetime
from zoneinfo import ZoneInfo

from dispatch.rules.forecast_age import age_sentence, why_sentence
from weather import behaviour
from weather.models import Place
from weather.reads import latest_forecast


def forecast_age(place: Place, *, now: datetime, zone: ZoneInfo) -> str:
    """The age in a sentence and, where the forecast is old or missing, the reason in another."""
    return " ".join(part for part in (_age(place, now, zone), why_old(place, now, zone)) if part)


def _age(place: Place, now: datetime, zone: ZoneInfo) -> str:
    forecast = latest_forecast(place, now=now)
    return age_sentence(
        issued_at=forecast.issued_by_our_clock if forecast else None, now=now, zone=zone
    )


def why_old(place: Place, now: datetime, zone: ZoneInfo) -> str:
    """Why there is no newer forecast of a place; empty while it is not old."""
    forecast = latest_forecast(place, now=now)
    return why_sentence(
        issued_at=forecast.issued_by_our_clock if forecast else None,
        now=now,
        off=behaviour.asking_is_off(),
        troubles=[(service.title, said) for service, said, _ in behaviour.troubles_at(place)],
        checked_at=place.checked_at,
        zone=zone,
    )
