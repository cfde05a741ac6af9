"""A change that somebody could make, and what it comes to once it is judged."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from dispatch.rules.findings import Level
from dispatch.rules.measures.situation import Situation
from dispatch.rules.words import Words
from jobs.rules.plan import Plan


class Kind(StrEnum):
    """What is done."""

    START = "start"
    SECOND_CREW = "second_crew"
    EVENING = "evening"
    TWO_MORNINGS = "two_mornings"
    LATER_TOP = "later_top"
    CANOPY = "canopy"
    CURTAIN = "curtain"
    TARP = "tarp"
    HEAT = "heat"
    UNVENTED = "unvented"
    BATCHES = "batches"
    METER = "meter"
    PREPARE = "prepare"
    MOVE = "move"

    @property
    def same_day(self) -> bool:
        """Whether the floor is coated on the day as it stands."""
        return self not in {Kind.PREPARE, Kind.MOVE}


@dataclass(frozen=True)
class Extra:
    """A stint of its own that a measure takes: bringing a heater, fetching it."""

    what: str
    at: datetime
    minutes: int


@dataclass(frozen=True)
class Change:
    """One thing done. `situation` is the floor with it done; None where nothing is coated.

    `minutes` is the working time it takes, of all people together. `limits` says what it
    stands and what it does not, in words.
    """

    kind: Kind
    title: str
    situation: Situation | None
    cost: float
    minutes: int
    limits: str = ""
    extras: tuple[Extra, ...] = ()

    def then(self, other: "Change") -> "Change":
        """Both done, this one first."""
        title = f"{self.title.removesuffix('.')}; {other.title[0].lower()}{other.title[1:]}"
        return Change(
            kind=self.kind,
            title=title,
            situation=other.situation,
            cost=self.cost + other.cost,
            minutes=self.minutes + other.minutes,
            limits=" ".join(limit for limit in (self.limits, other.limits) if limit),
            extras=(*self.extras, *other.extras),
        )


@dataclass(frozen=True)
class Measure:
    """A change with what comes of it: `level` is None where nothing is coated that day."""

    kind: Kind
    title: str
    level: Level | None
    because: str
    cost: float
    minutes: int
    limits: str = ""
    extras: tuple[Extra, ...] = ()
    plan: Plan | None = None

    @property
    def helps(self) -> bool:
        """Whether the floor can be coated with it, in whatever care."""
        return self.level in {Level.GO, Level.CARE}

    @property
    def sentence(self) -> str:
        """The measure and its then, in one line."""
        then = "nothing is coated" if self.level is None else self.level.value
        return f"{self.title.removesuffix('.')}; then {then}, {self.because}"


def words_of(situation: Situation) -> Words:
    """How to say numbers and hours of this floor's day."""
    return Words(zone=situation.times.zone, units=situation.units, day=situation.day)
