"""How the services behave, as screens show it: whom we may ask, who answered, what is wrong."""

from dataclasses import dataclass
from datetime import datetime

from django.conf import settings

from weather.models import Place, PlaceServiceState, ServiceState
from weather.providers import SERVICES, TITLES, Service
from weather.rules.hours import floor_hour
from weather.standing import REQUESTS_AN_HOUR


@dataclass(frozen=True)
class Behaviour:
    """One service as it stands with us at a moment."""

    service: Service
    configured: bool
    answered_at: datetime | None
    resting_until: datetime | None
    trouble: str
    warning: str
    budget_left: int
    clock_ahead_s: float | None


def of_services(*, now: datetime) -> list[Behaviour]:
    """Every service in the order of asking, also those without a key."""
    states = {state.service: state for state in ServiceState.objects.all()}
    return [_behaviour(service, states.get(service.name), now) for service in SERVICES]


def _behaviour(service: Service, state: ServiceState | None, now: datetime) -> Behaviour:
    state = state or ServiceState(service=service.name)
    used = state.budget_used if state.budget_hour == floor_hour(now) else 0
    resting = state.not_before if state.not_before and now < state.not_before else None
    return Behaviour(
        service=service,
        configured=service.configured(),
        answered_at=state.answered_at,
        resting_until=resting,
        trouble=state.trouble,
        warning=state.warning,
        clock_ahead_s=state.clock_ahead_s,
        budget_left=max(0, REQUESTS_AN_HOUR[service.name] - used),
    )


def troubles_at(place: Place) -> list[tuple[Service, str, datetime | None]]:
    """What keeps each service that may be asked from answering for `place`, and until when."""
    everywhere = {state.service: state for state in ServiceState.objects.all()}
    here = {state.service: state for state in PlaceServiceState.objects.filter(place=place)}
    found: list[tuple[Service, str, datetime | None]] = []
    for service in SERVICES:
        states = (here.get(service.name), everywhere.get(service.name))
        state = next((each for each in states if each is not None and each.trouble), None)
        if service.configured() and state is not None:
            found.append((service, state.trouble, state.not_before))
    return found


def clocks_apart() -> str:
    """Which clock differs from ours by more than minutes, in a sentence; empty where none does."""
    apart = {state.service: state.clock_ahead_s for state in ServiceState.objects.all()}
    for service, ahead_s in apart.items():
        if ahead_s:
            way = "ahead of" if ahead_s > 0 else "behind"
            return (
                f"The clock of {TITLES.get(service, service)} is {_length(abs(ahead_s))} {way} "
                "this machine's. Check this machine's clock: until the two agree, ages of "
                "forecasts are taken by the clock that makes them older."
            )
    return ""


def _length(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 120 else f"{round(minutes / 60)} h"


def asking_is_off() -> str:
    """Why no service is asked at all, or an empty string."""
    if settings.FORECASTS == "live" and not str(settings.FORECAST_CONTACT).strip():
        return (
            "no service is asked, because SLABCAST_FORECAST_CONTACT is empty and the services "
            "want to know whom to reach"
        )
    return ""
