"""One branch for the battery, and one random change of its calendar after another."""

import random
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from dispatch.models import OPEN_STATES, Booking
from dispatch.rules.asking import Ask, PlannedStint, Promised
from dispatch.rules.firmness import Firmness
from dispatch.services import bookings
from dispatch.services.swapping import Side
from jobs.models import Job, JobState
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_bookings import MORNING

CREWS, DAYS, JOBS, GRINDERS = 4, 40, 80, 3


class Office:
    """A branch with four crews of two, three grinders, forty days and eighty floors."""

    def __init__(self, *, jobs: int = JOBS) -> None:
        self.branch = builders.branch()
        self.by = builders.actor(of=self.branch)
        self.crews = [builders.crew(of=self.branch, name=f"Crew {n + 1}") for n in range(CREWS)]
        self.grinders = [builders.machine(of=self.branch) for _ in range(GRINDERS)]
        self.jobs = [builders.job(of=self.branch) for _ in range(jobs)]

    @property
    def common(self) -> dict[str, Any]:
        """What every write is told."""
        return {"branch": self.branch, "by": self.by, "now": NOW}


def ask(
    *crews: Any,
    start: datetime = MORNING,
    hours: float = 8,
    machines: tuple[Any, ...] = (),
    key: str = "",
) -> Ask:
    """One visit a day, by these crews."""
    stints = tuple(
        PlannedStint(
            crew_id=crew.pk,
            start=start + timedelta(days=n),
            end=start + timedelta(days=n, hours=hours),
            machine_ids=tuple(machine.pk for machine in machines),
        )
        for n, crew in enumerate(crews)
    )
    walk_on = stints[-1].end + timedelta(hours=12)
    promised = Promised(
        level=Firmness.CONFIRMED, walk_on_at=walk_on, drive_on_at=walk_on + timedelta(days=1)
    )
    return Ask(stints=stints, promised=promised, why="battery", key=key)


def some_ask(office: Office, chance: random.Random, *, key: str = "") -> Ask:
    """One to three days of one crew or several, morning, afternoon or whole days."""
    start = MORNING + timedelta(days=chance.randrange(DAYS))
    hours = chance.choice([4, 8])
    if hours == 4 and chance.random() < 0.5:
        start += timedelta(hours=4)
    crews = chance.choices(office.crews, k=chance.choice([1, 1, 1, 2, 3]))
    machines = (chance.choice(office.grinders),) if chance.random() < 0.5 else ()
    return ask(*crews, start=start, hours=hours, machines=machines, key=key)


Change = Callable[[], list[Booking]]


def some_change(office: Office, chance: random.Random, *, key: str) -> tuple[str, Change] | None:
    """The name of a random change that somebody might ask for, and the change itself."""
    kind = chance.choices(
        ["book", "move", "swap", "call off", "undo", "confirm"], [30, 20, 15, 10, 15, 10]
    )[0]
    if kind == "book":
        return _book(office, chance, key)
    standing = Booking.objects.of_branch(office.branch).filter(state__in=OPEN_STATES)
    if kind == "undo":
        standing = Booking.objects.of_branch(office.branch)
    seen = list(standing.values_list("pk", "version"))
    if len(seen) < 2:
        return None
    (one, version), (two, other) = chance.sample(seen, 2)
    known = {"booking_id": one, "version": version, **office.common}
    if kind == "swap":
        sides = {"first": Side(one, version), "second": Side(two, other)}
        return kind, lambda: list(bookings.swap(**sides, **office.common))
    if kind == "move":
        wanted = some_ask(office, chance)
        return kind, lambda: [bookings.move(ask=wanted, **known)]
    if kind == "call off":
        return kind, lambda: [bookings.call_off(why="battery", **known)]
    if kind == "undo":
        return kind, lambda: [bookings.undo(**known)]
    return kind, lambda: [bookings.confirm(**known)]


def _book(office: Office, chance: random.Random, key: str) -> tuple[str, Change] | None:
    waiting = Job.objects.of_branch(office.branch).filter(state=JobState.WAITING)
    seen = list(waiting.values_list("pk", "version"))
    if not seen:
        return None
    job_id, version = chance.choice(seen)
    wanted = some_ask(office, chance, key=key)
    given = {"job_id": job_id, "version": version, "ask": wanted, **office.common}
    return "book", lambda: [bookings.book(**given)]
