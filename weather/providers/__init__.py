"""The forecast services, one file each. The list below is the order in which they are asked."""

from collections.abc import Callable
from dataclasses import dataclass

from weather.providers import metno, nws, open_meteo
from weather.providers.contract import Said


def _always() -> bool:
    return True


@dataclass(frozen=True)
class Service:
    """A forecast service: its name in the database and on screen, how to ask, whom to thank."""

    name: str
    title: str
    ask: Callable[..., Said]
    credit: str
    configured: Callable[[], bool] = _always


SERVICES = (
    Service(nws.NAME, "US National Weather Service", nws.ask, nws.CREDIT),
    Service(metno.NAME, "MET Norway", metno.ask, metno.CREDIT),
    Service(
        open_meteo.NAME, "Open-Meteo", open_meteo.ask, open_meteo.CREDIT, open_meteo.configured
    ),
)
# What screens show under a forecast, by its source.
CREDITS = {
    nws.NAME: nws.CREDIT,
    "nws_hourly": nws.CREDIT,
    metno.NAME: metno.CREDIT,
    open_meteo.NAME: open_meteo.CREDIT,
    "replay": "Weather: a replay of invented forecasts. It is not the weather outside",
}
# Where a credit leads, for the services whose licence asks for a link.
LINKS = {
    metno.CREDIT: "https://api.met.no/doc/License",
    open_meteo.CREDIT: "https://open-meteo.com/",
}
TITLES = {
    **{service.name: service.title for service in SERVICES},
    "nws_hourly": "US National Weather Service, hourly",
    "nws_stations": "US National Weather Service, stations",
    "replay": "replay of invented weather",
}


def configured() -> tuple[Service, ...]:
    """The services that may be asked, in their order."""
    return tuple(service for service in SERVICES if service.configured())
