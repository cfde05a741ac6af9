"""Readings taken on a floor: what an instrument may say, and what is no reading at all.

Ranges are those of the instruments: an infrared or contact thermometer on concrete, a
thermo-hygrometer, and the usual moisture methods (ASTM F2170 in-slab probes, ASTM F1869 dish
tests, ASTM D4263 sheets; names and units from memory).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import isfinite

from jobs.text import one_line

SPOT_MOST = 80
OLDEST = timedelta(days=60)
CLOCKS_DIFFER = timedelta(minutes=5)  # a phone's clock may be a little ahead
SLAB_C = (-30.0, 80.0)
AIR_C = (-45.0, 60.0)
# Highest value of each method, with its unit; a taped sheet has no number.
MOISTURE_MOST = {"percent": (25.0, "%"), "in_slab": (100.0, "%"), "emission": (50.0, "lb")}
METHODS = (*MOISTURE_MOST, "sheet")


@dataclass(frozen=True)
class NewReading:
    """What somebody read, metric; None was not read. `within_limit` is what they say of it."""

    at: datetime
    spot: str = ""
    slab_c: float | None = None
    air_c: float | None = None
    humidity_pct: float | None = None
    moisture: float | None = None
    moisture_method: str = ""
    within_limit: bool | None = None

    @property
    def says_nothing(self) -> bool:
        """Whether nothing was read at all."""
        told = (self.slab_c, self.air_c, self.humidity_pct, self.moisture)
        return all(value is None for value in told) and self.moisture_method != "sheet"


def problems_of(new: NewReading, *, now: datetime) -> Iterator[tuple[str, str]]:
    """Everything that makes it no reading: (field, sentence)."""
    if new.at > now + CLOCKS_DIFFER:
        yield "at", "Nobody can have read that yet: the time is still to come."
    elif new.at < now - OLDEST:
        yield "at", f"A reading over {OLDEST.days} days old says nothing about the floor today."
    if len(one_line(new.spot, most=SPOT_MOST + 1)) > SPOT_MOST:
        yield "spot", f"The place is too long; {SPOT_MOST} characters are kept."
    if new.says_nothing:
        yield "slab_c", "Type what was read: slab, air and humidity, or moisture."
    yield from _air_problems(new)
    yield from _moisture_problems(new)


def _air_problems(new: NewReading) -> Iterator[tuple[str, str]]:
    for field, value, (low, high), words in (
        ("slab_c", new.slab_c, SLAB_C, "slab"),
        ("air_c", new.air_c, AIR_C, "air"),
    ):
        if value is not None and not (isfinite(value) and low <= value <= high):
            yield field, f"No {words} on a site is that cold or that warm; read it again."
    humidity = new.humidity_pct
    if humidity is not None and not (isfinite(humidity) and 0 < humidity <= 100):
        yield "humidity_pct", "Humidity lies above 0 and up to 100 %; read it again."


def _moisture_problems(new: NewReading) -> Iterator[tuple[str, str]]:
    if new.moisture_method and new.moisture_method not in METHODS:
        yield "moisture_method", "Choose how moisture was measured."
        return
    if new.moisture is not None and not new.moisture_method:
        yield "moisture_method", "Say how moisture was measured: its number means nothing alone."
        return
    if new.within_limit is not None and not new.moisture_method:
        yield "within_limit", "Only a moisture reading can be within the limit; type it too."
    if new.moisture_method == "sheet":
        if new.moisture is not None:
            yield "moisture", "A taped sheet has no number; say only whether it stayed dry."
        elif new.within_limit is None:
            yield "within_limit", "Say whether the sheet stayed dry."
        return
    if new.moisture_method:
        most, unit = MOISTURE_MOST[new.moisture_method]
        if new.moisture is None:
            yield "moisture", "Type the number that the meter showed."
        elif not (isfinite(new.moisture) and 0 <= new.moisture <= most):
            yield "moisture", f"That method reads 0 to {most:g} {unit}; read it again."
