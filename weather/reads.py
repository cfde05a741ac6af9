"""What the house asks about weather: the newest forecast, the hours around now, its age."""

from datetime import date, datetime, timedelta

from weather.models import Forecast, PastDay, Place
from weather.rules.distance import distance_km
from weather.rules.hours import HOUR, Hours, floor_hour

# Beyond this a neighbour's weather says nothing about the place; common practice.
NEIGHBOUR_KM = 60.0
# A second opinion older than this says less about its service than about its age.
COMPARABLE = timedelta(hours=12)


def latest_forecast(place: Place, *, now: datetime) -> Forecast | None:
    """The forecast issued last of those fetched by `now`, whatever its age."""
    return place.forecasts.counting().filter(fetched_at__lte=now).newest_first().first()


def newest_issue(place_id: int, *, now: datetime) -> datetime | None:
    """When the forecast that counts was issued, as `Forecast.issued_by_our_clock`; None without.

    For frames and lists: the hours stay in the database.
    """
    held = Forecast.objects.counting().filter(place_id=place_id, fetched_at__lte=now)
    newest = held.newest_first().only("issued_at", "clock_ahead_s").first()
    return newest.issued_by_our_clock if newest else None


def second_forecast(place: Place, *, now: datetime) -> Forecast | None:
    """The newest forecast of another service than the one that counts, if it is not old."""
    first = latest_forecast(place, now=now)
    if first is None:
        return None
    house = first.source.partition("_hourly")[0]
    others = place.forecasts.exclude(source__startswith=house)
    recent = others.filter(fetched_at__lte=now, issued_at__gte=now - COMPARABLE)
    return recent.newest_first().first()


def hours_at(place: Place, *, now: datetime, past_days: int = 14, ahead_days: int = 10) -> Hours:
    """Hours around `now` at `place`: past, then the newest forecast; unknown where not known.

    Source and times are those of the newest forecast, so its age can be judged.
    """
    start = floor_hour(now) - timedelta(days=past_days)
    count = (past_days + ahead_days) * 24
    hours = Hours.unknown(start=start, count=count)
    forecast = latest_forecast(place, now=now)
    if forecast is not None:
        hours = hours.over(forecast.hours(), keep_stamps=True)
    past = place.past_days.filter(day__gte=start.date(), day__lte=now.date()).order_by("day")
    return hours.over(_gone_by(list(past), start=start, now=now))


def _gone_by(days: list[PastDay], *, start: datetime, now: datetime) -> Hours:
    """The kept hours of `days` from `start` that had begun by `now`."""
    count = int((floor_hour(now) - start) / HOUR) + 1
    hours = Hours.unknown(start=start, count=count)
    for day in days:
        hours = hours.over(day.hours())
    return hours


def past_origins(place: Place, *, first: date, last: date) -> dict[datetime, str]:
    """Where each known past hour came from: "station", or the forecast it was the start of."""
    origins: dict[datetime, str] = {}
    for day in place.past_days.filter(day__gte=first, day__lte=last):
        for position, origin in enumerate(day.origins):
            if origin:
                origins[day.start + position * HOUR] = origin
    return origins


def bare_ground_c(forecast: Forecast, instant: datetime) -> float:
    """Temperature (°C) of bare ground's surface at `instant`, if the service gives it; else NaN."""
    told = forecast.layers.get("soil_c", [])
    position = int((floor_hour(instant) - forecast.start) / HOUR)
    value = told[position] if 0 <= position < len(told) else None
    return float("nan") if value is None else float(value)


def forecast_age_h(forecast: Forecast, *, now: datetime) -> float:
    """Hours since the forecast was issued, by whichever of the two clocks makes it older."""
    return max(0.0, (now - forecast.issued_by_our_clock) / HOUR)


def nearest_with_forecast(place: Place) -> tuple[Place, float] | None:
    """The nearest other place that holds a forecast, with the distance in km, or nothing."""
    here = (place.latitude, place.longitude)
    others = Place.objects.filter(forecasts__second=False).exclude(pk=place.pk).distinct()
    best: tuple[Place, float] | None = None
    for other in others:
        away_km = distance_km(here, (other.latitude, other.longitude))
        if away_km <= NEIGHBOUR_KM and (best is None or away_km < best[1]):
            best = (other, away_km)
    return best
