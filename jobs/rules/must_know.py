"""What must be known of an order before its day may be confirmed, by floor and system.

What only the day itself can bring (emptied, cars out, water off) is asked later and elsewhere.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
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
# Three days: a probe in the slab is read after 72 h at the earliest (ASTM F2170, in its first
# editions), a dish of salt after 60 to 72 h (ASTM F1869). From memory.
ASKS = {
    Topic.POWER: "Which socket, how many amps, how far away; else a generator, and its noise hours",
    Topic.ACCESS: "How wide is the way in, and are there stairs",
    Topic.PARKING: "Where the trailer stands all day",
    Topic.PERMIT: "Does the street, the landlord or the owners' association want a permit",
    Topic.CONCRETE_AGE: "When was the concrete poured",
    Topic.MOISTURE: "Method, reading and its day; a probe or a dish stays for three days",
}


@dataclass(frozen=True, kw_only=True)
class Subject:
    """What an order tells by itself, as far as the questions go."""

    exposures: Collection[Exposure]
    power: bool  # a socket with its volts and amps, or a generator, was noted
    access: bool  # the way in was noted
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
    if subject.power:
        found.add(Topic.POWER)
    if subject.access:
        found.add(Topic.ACCESS)
    if subject.poured_on is not None:
        found.add(Topic.CONCRETE_AGE)
    return found


def say(found: Iterable[Topic]) -> str:
    """The topics as people say them: "power and the permit"."""
    names = [NAMES[topic] for topic in found]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def not_known(found: Sequence[Topic]) -> str:
    """The sentence that names what is missing; empty where nothing is."""
    verb = "is" if len(found) == 1 else "are"
    return f"{say(found)} {verb} not known yet." if found else ""


def _young(subject: Subject) -> bool:
    return subject.poured_on is not None and subject.today - subject.poured_on < YOUNG
