"""Reasons for customers: why a day is not on, the true cause in plain words with its hour."""

from dispatch.rules.findings import Check, Level
from dispatch.rules.verdicts import Verdict

CAUSES = {
    "dryness": "the concrete needs a full day to dry after it was wet, and has not had it by then",
    "rain": "rain is likely in the hours in which the floor must stay dry",
    "cover": "the wind is too strong for the cover that would keep rain off",
    "water": "water would run or drip onto the fresh floor",
    "dew": "the concrete would be too cold for the damp air, and sweat under the coat",
    "slab": "the concrete would be outside the temperatures at which the coat holds",
    "air": "the air would be outside the temperatures at which the coat holds",
    "wind": "the wind would blow into the wet floor",
    "humidity": "the air would be too humid for the coat",
    "dry air": "the air would be too dry for the coat to cure",
    "closing": "the work does not fit the hours in which we may be at your place",
    "night": "the night would be too cold for the coat to harden",
    "forecast": "we have no forecast that we would trust a floor to",
}


def customer_reason(verdict: Verdict) -> str:
    """One sentence for the customer; empty where nothing stands in the way."""
    worst = next(iter(verdict.reasons), None)
    if worst is None or verdict.level is Level.GO:
        return ""
    return reason_of(worst, short=_short(verdict))


def reason_of(check: Check, *, short: str = "") -> str:
    """The cause of one finding, and by how much the day is too short for it."""
    cause = CAUSES.get(check.name, "the weather does not suit the coat")
    if check.level is Level.UNKNOWN:
        return f"We cannot tell yet whether {cause}."
    return f"We move the day because {cause}{short}."


def _short(verdict: Verdict) -> str:
    """By how much the hours of the day fall short."""
    hours = verdict.wet_hours
    if hours is None or not hours.short:
        return ""
    missing = max(1, round(hours.short.total_seconds() / 3600))
    return f"; the day is {missing} {'hour' if missing == 1 else 'hours'} too short for it"
