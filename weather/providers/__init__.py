"""The forecast services, one file each. The list below is the order in which they are asked."""

from collections.abc import Callable
from dataclasses import dataclass

from weather.providers import metno, nws
from weather.providers.contract import Said


@dataclass(frozen=True)
class Service:
    """A forecast service: its name in the database, how to ask it, whom to thank on screen."""

    name: str
    ask: Callable[..., Said]
    credit: str


SERVICES = (
    Service(nws.NAME, nws.ask, nws.CREDIT),
    Service(metno.NAME, metno.ask, metno.CREDIT),
)
# What screens show under a forecast, by its source.
CREDITS = {
    nws.NAME: nws.CREDIT,
    "nws_hourly": nws.CREDIT,
    metno.NAME: metno.CREDIT,
    "replay": "Invented weather of the demo, not a forecast",
}
