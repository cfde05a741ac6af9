"""An invented large company, written through the services' bulk path: branches, crews, years.

All is drawn from one seed. A branch is opened as the set-up opens one; its orders are taken in
and entered as coated by the hundred. What the program leaves behind of every floor (verdict,
mail, receipt) is written beside it, so that tables are as long as they would be.
"""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from functools import cache
from itertools import islice

import numpy as np

from dispatch.benchmarks.left_behind import leave_behind
from dispatch.models import Crew, CrewMembership, Machine, MachineKind, StampKind
from dispatch.reads.offer import stages_json
from dispatch.rules.asking import PlannedStint
from dispatch.services.crews import add_machines
from dispatch.services.opening import MOST_GRINDERS, NewOffice, Spot, open_office
from dispatch.services.past_work import PastWork, enter_past
from jobs.access import PROGRAM
from jobs.models import Branch, CoatingSystem, Job
from jobs.rules.catalogue import ONE_DAY
from jobs.rules.clock import round_up_quarter
from jobs.rules.new_jobs import NewFloor, NewJob
from jobs.rules.plan import Plan, Visit, Work
from jobs.rules.rates import Rates
from jobs.rules.stages import lay_out
from jobs.services.branches import NewBranch
from jobs.services.intake import take_in_all
from weather.rules.hours import SlabHours

COMPANY = "Wren and Alder Floors"
# Longitudes of depots with the zone they lie in; latitudes follow one another between 31 and 45.
ZONES = (
    (-78.0, "America/New_York"),
    (-90.0, "America/Chicago"),
    (-105.0, "America/Denver"),
    (-118.0, "America/Los_Angeles"),
)
EXPOSURES = ("garage", "garage", "garage", "open", "carport", "porch", "interior")
AREAS_M2 = (20.0, 26.0, 32.0, 38.0, 44.0, 50.0)
SPOTS = 12  # towns around a depot
AT_ONCE = 500
START, ROAD_MIN = time(7), 20
BOOKED_BEFORE = timedelta(days=9)
LATE_MIN = (-10, 45)
SLAB_C = 21.0

Slot = tuple[date, int]  # a day, and which crew


@dataclass(frozen=True)
class Company:
    """How large it is; crews and floors are spread evenly over the branches."""

    branches: int = 40
    crews: int = 400
    years: int = 5
    floors: int = 400_000
    seed: int = 7

    def share(self, number: int, *, of: int) -> int:
        """What branch `number` has of `of` things."""
        return of // self.branches + (number < of % self.branches)


@dataclass(frozen=True)
class Team:
    """One crew with its people and the grinder that goes with it."""

    crew: Crew
    people: tuple[int, ...]
    grinder: int


@dataclass(frozen=True)
class Office:
    """A branch with what its past work names."""

    branch: Branch
    system: CoatingSystem
    teams: tuple[Team, ...]

    @classmethod
    def of(cls, branch: Branch) -> "Office":
        """The branch as it was opened."""
        people: dict[int, list[int]] = {}
        for each in CrewMembership.objects.of_branch(branch).order_by("pk"):
            people.setdefault(each.crew_id, []).append(each.installer_id)
        crews = Crew.objects.of_branch(branch).order_by("pk")
        grinders = Machine.objects.of_branch(branch).order_by("pk").values_list("pk", flat=True)
        return cls(
            branch=branch,
            system=CoatingSystem.objects.of_branch(branch).get(name=ONE_DAY.name),
            teams=tuple(
                Team(crew, tuple(people[crew.pk]), grinder)
                for crew, grinder in zip(crews, grinders, strict=True)
            ),
        )


def open_branch(number: int, *, crews: int, password: str, now: datetime) -> Office:
    """Branch `number` with so many crews of two, each with a grinder."""
    beyond = max(0, crews - MOST_GRINDERS)
    longitude, zone = ZONES[number % len(ZONES)]
    latitude = 31 + number * 1.37 % 14
    opened = open_office(
        NewOffice(
            branch=NewBranch(COMPANY, f"Branch {number + 1}", f"{100 + number} Depot Road"),
            spot=Spot(Decimal(f"{latitude:.3f}"), Decimal(f"{longitude:.3f}"), zone),
            owner=f"branch{number + 1}",
            password=password,
            crews=tuple(
                (f"Crew {each + 1}", (f"Person {each + 1} A", f"Person {each + 1} B"))
                for each in range(crews)
            ),
            grinders=crews - beyond,
        ),
        by=PROGRAM,
        now=now,
        only_first=False,
    )
    while beyond > 0:
        some = min(beyond, MOST_GRINDERS)
        add_machines(
            branch=opened, kind=MachineKind.GRINDER, name=f"Spare {beyond}", count=some,
            by=PROGRAM, now=now,
        )  # fmt: skip
        beyond -= some
    return Office.of(opened)


def slots(office: Office, *, since: date, until: date, floors: int, seed: int) -> list[Slot]:
    """`floors` crew-days from `since` to the day before `until`, drawn, in order.

    Raises ValueError where there are not so many.
    """
    days = (since + timedelta(days=n) for n in range((until - since).days))
    every = [(day, crew) for day in days if day.weekday() < 5 for crew in range(len(office.teams))]
    if floors > len(every):
        raise ValueError(f"There are {len(every):,} crew-days, and {floors:,} floors.")
    dice = random.Random(f"{seed} {office.branch.pk}")  # noqa: S311  invented floors, no secret
    return sorted(dice.sample(every, floors))


def enter(office: Office, chosen: Sequence[Slot], *, seed: int, now: datetime) -> int:
    """Orders, bookings that are done and what they leave behind, for each slot; how many."""
    dice = random.Random(f"{seed} {office.branch.pk} {len(chosen)}")  # noqa: S311  as above
    for some in _some(chosen):
        # Taken in when the first of them was ordered: one moment for all that are written at once.
        ordered_at = office.branch.at(some[0][0], START) - BOOKED_BEFORE - timedelta(days=3)
        new = [_order(office, slot, dice) for slot in some]
        jobs = take_in_all(branch=office.branch, new=new, by=PROGRAM, now=ordered_at)
        work = [
            _work(office, job, order, slot, dice)
            for job, order, slot in zip(jobs, new, some, strict=True)
        ]
        leave_behind(enter_past(branch=office.branch, work=work, by=PROGRAM, now=now), work)
    return len(chosen)


def _some(chosen: Sequence[Slot]) -> Iterator[list[Slot]]:
    rest = iter(chosen)
    while some := list(islice(rest, AT_ONCE)):
        yield some


def _order(office: Office, slot: Slot, dice: random.Random) -> NewJob:
    day, crew = slot
    place = office.branch.depot_place
    name = f"{day:%Y%m%d}-{crew}"
    at = dice.randrange(SPOTS)
    return NewJob(
        customer_name=f"Customer {name}",
        email=f"{name}@mail.example",
        telephone=f"555-{dice.randrange(10_000):04d}",
        street=f"{dice.randrange(1, 9000)} Oak Street, {name}",
        town=f"Town {at + 1}",
        latitude=f"{float(place.latitude) + 0.1 * (at // 4 - 1):.3f}",
        longitude=f"{float(place.longitude) + 0.1 * (at % 4 - 2):.3f}",
        zone=office.branch.zone,
        system_id=office.system.pk,
        floors=(NewFloor(exposure=dice.choice(EXPOSURES), area_m2=dice.choice(AREAS_M2)),),
    )


def _work(office: Office, job: Job, order: NewJob, slot: Slot, dice: random.Random) -> PastWork:
    day, crew = slot
    team = office.teams[crew]
    plan = plan_of(order.floors[0].area_m2 or AREAS_M2[0])
    start = office.branch.at(day, START)
    later = start - plan.start
    late = timedelta(minutes=dice.randint(*LATE_MIN))
    stint = PlannedStint(
        crew_id=team.crew.pk,
        start=start,
        end=plan.end + later,
        machine_ids=(team.grinder,),
        installer_ids=team.people,
        travel_before_min=ROAD_MIN,
        travel_after_min=ROAD_MIN,
        stages=stages_json(_moved(plan.visits[0], later)),
        pour_at=plan.pour + later,
        wet_until=(plan.rain_safe or plan.top_end) + later,
    )
    return PastWork(
        job=job,
        stint=stint,
        booked_at=start - BOOKED_BEFORE,
        walk_on_at=round_up_quarter(plan.walk_on + later) if plan.walk_on else None,
        drive_on_at=round_up_quarter(plan.drive_on + later) if plan.drive_on else None,
        stamps={
            StampKind.ARRIVED: start + late,
            StampKind.POURED: plan.pour + later + late,
            StampKind.TOPPED: plan.top_end + later + late,
            StampKind.LEFT: plan.end + later + late,
        },
    )


@cache
def plan_of(area_m2: float) -> Plan:
    """The day of a floor of that size on a mild slab; only where it lies on the clock differs."""
    start = datetime(2020, 6, 1, 12, tzinfo=UTC)
    held = np.full(24 * 12, SLAB_C)
    return lay_out(
        work=Work(area_m2=area_m2, edge_m=4 * area_m2**0.5),
        card=ONE_DAY,
        rates=Rates(),
        crew_size=2,
        start=start,
        slab=SlabHours(start=start - timedelta(hours=12), mid_c=held, cold_c=held, warm_c=held),
    )


def _moved(visit: Visit, later: timedelta) -> Visit:
    return Visit(
        tuple(
            replace(stage, start=stage.start + later, end=stage.end + later)
            for stage in visit.stages
        )
    )
