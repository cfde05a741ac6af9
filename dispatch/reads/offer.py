"""One offer: a possible booking with its reasons, and the day that is none with its why."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from dispatch.models import Crew, CrewMembership, Machine
from dispatch.rules.asking import Ask, MachineSpan, PlannedStint, Promised
from dispatch.rules.costs import CostPart
from dispatch.rules.firmness import Firmness
from dispatch.rules.verdicts import Verdict
from jobs.described import Order
from jobs.rules.clock import round_up_quarter
from jobs.rules.plan import Plan, StageKind, Visit
from jobs.rules.stages import idle_spans
from weather.rules.hours import HOUR


@dataclass(frozen=True)
class Task:
    """Something that must be done by the end of a day if the offer is taken."""

    due: date
    what: str


@dataclass(frozen=True, eq=False)
class Share:
    """Another crew's part in an offer, with the grinder that it brings."""

    crew: Crew
    crew_size: int
    grinder: Machine | None
    travel: tuple[tuple[int, int], ...]


@dataclass(frozen=True, eq=False)
class Offer:
    """One possible booking with its reasons."""

    job: Order
    crew: Crew
    crew_size: int
    grinder: Machine
    day: date
    plan: Plan
    verdict: Verdict
    travel: tuple[tuple[int, int], ...]  # minutes before and after each visit
    level: Firmness = Firmness.RANGE
    parts: tuple[CostPart, ...] = ()
    beyond: bool = False
    second: str = ""  # what another service says differently
    grinder_from: datetime | None = None  # where it is handed over by another crew
    season: str = ""  # what the month is usually like, where no forecast reaches
    team: tuple[CrewMembership, ...] = ()  # who goes; by membership where it is empty
    lent: tuple[CrewMembership, ...] = ()  # people of another crew among them
    generator: Machine | None = None
    tasks: tuple[Task, ...] = ()
    partners: tuple[Share, ...] = ()  # other crews that work on it as well

    @property
    def cost(self) -> float:
        """The sum of its parts, in the branch's money."""
        return sum(part.amount for part in self.parts)

    @property
    def hands(self) -> int:
        """How many people are there, those of other crews among them."""
        return self.crew_size + sum(share.crew_size for share in self.partners)

    @property
    def idle_h(self) -> float:
        """Hours on the site in which nobody's hands are needed."""
        return sum(((end - start) / HOUR for start, end in idle_spans(self.plan)), 0.0)

    @property
    def key(self) -> str:
        """Names this offer in a form: crew, people lent to it or a second crew, exact start.

        Nothing else is trusted from there.
        """
        lent = f"+{len(self.lent)}" if self.lent else "*" if self.partners else ""
        return f"{self.crew.pk}{lent}@{self.plan.start:%Y-%m-%dT%H:%M}Z"

    @property
    def walk_on(self) -> datetime | None:
        """Walk-on as promised: rounded up."""
        return round_up_quarter(self.plan.walk_on) if self.plan.walk_on else None

    @property
    def drive_on(self) -> datetime | None:
        """Drive-on as promised: rounded up."""
        return round_up_quarter(self.plan.drive_on) if self.plan.drive_on else None

    def ask(self, *, why: str = "", held_until: datetime | None = None, key: str = "") -> Ask:
        """What a booking of this offer asks for."""
        return Ask(
            stints=self._stints(),
            promised=Promised(
                level=Firmness.PLANNED if held_until else self.level,
                walk_on_at=self.walk_on,
                drive_on_at=self.drive_on,
                drive_on_basis=self.plan.drive_on_basis,
            ),
            why=why,
            held_until=held_until,
            key=key,
        )

    def _stints(self) -> tuple[PlannedStint, ...]:
        wet_until = self.plan.rain_safe or self.plan.top_end
        own = [
            self._stint(visit, travel, wet_until)
            for visit, travel in zip(self.plan.visits, self.travel, strict=True)
        ]
        theirs = [
            PlannedStint(
                crew_id=share.crew.pk,
                start=visit.start,
                end=visit.end,
                machine_ids=_ids(share.grinder if grinds(visit) else None),
                travel_before_min=before,
                travel_after_min=after,
                stages=stages_json(visit),
                wet_until=wet_until,
            )
            for share in self.partners
            for visit, (before, after) in zip(self.plan.visits, share.travel, strict=True)
        ]
        return (*own, *theirs)

    def _stint(self, visit: Visit, travel: tuple[int, int], wet_until: datetime) -> PlannedStint:
        ground = grinds(visit)
        return PlannedStint(
            crew_id=self.crew.pk,
            start=visit.start,
            end=visit.end,
            machine_ids=_ids(self.grinder if ground else None, self.generator),
            machine_spans=self._handed(visit, travel[1]) if ground else (),
            travel_before_min=travel[0],
            travel_after_min=travel[1],
            stages=stages_json(visit),
            pour_at=self.plan.pour if visit.start <= self.plan.pour < visit.end else None,
            wet_until=wet_until,
            installer_ids=tuple(each.installer_id for each in self.team),
        )

    def _handed(self, visit: Visit, after_min: int) -> tuple[MachineSpan, ...]:
        """The grinder's own hours where it comes later than the crew."""
        if self.grinder_from is None or not visit.start <= self.grinder_from < visit.end:
            return ()
        return (MachineSpan(self.grinder.pk, self.grinder_from, visit.end, after_min),)


def grinds(visit: Visit) -> bool:
    """Whether a grinder is needed on this visit."""
    return any(stage.kind is StageKind.GRIND for stage in visit.stages)


def _ids(*machines: Machine | None) -> tuple[int, ...]:
    return tuple(each.pk for each in machines if each is not None)


@dataclass(frozen=True)
class Possible:
    """A day that passed the rough look only: nothing of it has been judged."""

    day: date
    crew: Crew
    start: datetime
    cost: float


@dataclass(frozen=True)
class RefusedDay:
    """A day that is no offer: the one sentence why, and the smallest change that would do."""

    day: date
    why: str
    rank: int = 0
    change: str = ""


class NoOffer(Exception):
    """Why a crew on a day is no offer; of several reasons the highest rank is shown."""

    def __init__(self, sentence: str, rank: int, change: str = "") -> None:
        super().__init__(sentence)
        self.rank = rank
        self.change = change

    def on(self, day: date) -> RefusedDay:
        """The day that it refuses."""
        return RefusedDay(day, str(self), self.rank, self.change)


class NoGrinder(NoOffer):
    """Every grinder is out; `arrive` is when to come for one that is handed over."""

    def __init__(self, sentence: str, arrive: datetime | None) -> None:
        super().__init__(sentence, 2)
        self.arrive = arrive


def stages_json(visit: Visit) -> tuple[dict[str, Any], ...]:
    """The stages of a visit as a row keeps them."""
    return tuple(
        {
            "kind": stage.kind.value,
            "start": stage.start.isoformat(),
            "end": stage.end.isoformat(),
            "hands": stage.hands,
        }
        for stage in visit.stages
    )
