"""One offer: a possible booking with its reasons, and the day that is none with its why."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from dispatch.models import Crew, Machine
from dispatch.rules.asking import Ask, MachineSpan, PlannedStint, Promised
from dispatch.rules.costs import CostPart
from dispatch.rules.firmness import Firmness
from dispatch.rules.verdicts import Verdict
from jobs.models import Job
from jobs.rules.clock import round_up_quarter
from jobs.rules.plan import Plan, StageKind, Visit


@dataclass(frozen=True, eq=False)
class Offer:
    """One possible booking with its reasons."""

    job: Job
    crew: Crew
    crew_size: int
    grinder: Machine
    day: date
    plan: Plan
    verdict: Verdict
    level: Firmness
    travel: tuple[tuple[int, int], ...]  # minutes before and after each visit
    parts: tuple[CostPart, ...]
    beyond: bool
    second: str = ""  # what another service says differently
    grinder_from: datetime | None = None  # where it is handed over by another crew
    season: str = ""  # what the month is usually like, where no forecast reaches

    @property
    def cost(self) -> float:
        """The sum of its parts, in the branch's money."""
        return sum(part.amount for part in self.parts)

    @property
    def key(self) -> str:
        """Names this offer in a form: crew and exact start; nothing else is trusted from there."""
        return f"{self.crew.pk}@{self.plan.start:%Y-%m-%dT%H:%M}Z"

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
        grinds = [any(s.kind is StageKind.GRIND for s in v.stages) for v in self.plan.visits]
        return tuple(
            PlannedStint(
                crew_id=self.crew.pk,
                start=visit.start,
                end=visit.end,
                machine_ids=(self.grinder.pk,) if grind else (),
                machine_spans=self._handed(visit, after) if grind else (),
                travel_before_min=before,
                travel_after_min=after,
                stages=stages_json(visit),
                pour_at=self.plan.pour if visit.start <= self.plan.pour < visit.end else None,
                wet_until=wet_until,
            )
            for visit, grind, (before, after) in zip(
                self.plan.visits, grinds, self.travel, strict=True
            )
        )

    def _handed(self, visit: Visit, after_min: int) -> tuple[MachineSpan, ...]:
        """The grinder's own hours where it comes later than the crew."""
        if self.grinder_from is None or not visit.start <= self.grinder_from < visit.end:
            return ()
        return (MachineSpan(self.grinder.pk, self.grinder_from, visit.end, after_min),)


@dataclass(frozen=True)
class RefusedDay:
    """A day that is no offer, with the one sentence why."""

    day: date
    why: str
    rank: int = 0


class NoOffer(Exception):
    """Why a crew on a day is no offer; of several reasons the highest rank is shown."""

    def __init__(self, sentence: str, rank: int) -> None:
        super().__init__(sentence)
        self.rank = rank


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
