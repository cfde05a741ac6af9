"""What must be known of an order before its day may be confirmed, by floor and system.

What only the day itself can bring (emptied, cars out, water off) is asked later and elsewhere.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from weather.rules.exposures import Exposure

# Common practice: concrete is coated 28 days after it was poured at the earliest.
YOUNG = timedelta(days=28)


class Topic(StrEnum):
    """What can be asked."""

    POWER = "power"
    ACCESS = "access"
    PARKING = "parking"
    PERMIT = "permit"
    CONCRETE_AGE = "concrete_age"
    MOISTURE = "moisture"


class Standing(StrEnum):
    """How a question stands."""

    UNKNOWN = "unknown"
    KNOWN = "known"
    NOT_NEEDED = "not_needed"
    WAIVED = "waived"  # a person confirmed without it, and said why


NAMES = {
    Topic.POWER: "power",
    Topic.ACCESS: "width and stairs of the way in",
    Topic.PARKING: "where the trailer parks",
    Topic.PERMIT: "the permit",
    Topic.CONCRETE_AGE: "the age of the concrete",
    Topic.MOISTURE: "the moisture test",
}
ASKS = {
    Topic.POWER: "Which socket, how many amps, how far away; else a generator, and its noise hours",
    Topic.ACCESS: "How wide is the way in, and are there stairs",
    Topic.PARKING: "Where the trailer stands all day",
    Topic.PERMIT: "Does the street, the landlord or the owners' association want a permit",
    Topic.CONCRETE_AGE: "When was the concrete poured",
    Topic.MOISTURE: "Method, reading, and on which day it was taken",
}


@dataclass(frozen=True, kw_only=True)
class Subject:
    """What an order tells by itself, as far as the questions go."""

    exposures: Collection[Exposure]
    power: str
    access: str
    poured_on: date | None
    today: date


def topics(subject: Subject) -> tuple[Topic, ...]:
    """What must be known of this order.

    A slab on the ground indoors is tested for moisture; a garage's is asked its age, since
    young concrete gives its water off for weeks; a floor under the sky may want a permit for
    the street. Common practice.
    """
    lies = set(subject.exposures)
    found = [Topic.POWER, Topic.ACCESS, Topic.PARKING]
    if lies & {Exposure.OPEN, Exposure.POOL_DECK, Exposure.APRON}:
        found.append(Topic.PERMIT)
    found.append(Topic.CONCRETE_AGE)
    if Exposure.INTERIOR in lies or _young(subject):
        found.append(Topic.MOISTURE)
    return tuple(found)


def missing(subject: Subject, *, answers: Mapping[Topic, Standing]) -> tuple[Topic, ...]:
    """The topics nobody has answered, in the order they are asked; empty where all is known."""
    known = {topic for topic, standing in answers.items() if standing is not Standing.UNKNOWN}
    return tuple(topic for topic in topics(subject) if topic not in known | told(subject))


def told(subject: Subject) -> set[Topic]:
    """What the order itself answers: what was typed when it was taken in."""
    found = set()
    if subject.power.strip():
        found.add(Topic.POWER)
    if subject.access.strip():
        found |= {Topic.ACCESS, Topic.PARKING}
    if subject.poured_on is not None:
        found.add(Topic.CONCRETE_AGE)
    return found


def say(found: Iterable[Topic]) -> str:
    """The topics as people say them: "power and the permit"."""
    names = [NAMES[topic] for topic in found]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _young(subject: Subject) -> bool:
    return subject.poured_on is not None and subject.today - subject.poured_on < YOUNG
