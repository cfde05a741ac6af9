"""A large floor on the clock, bay by bay, with all hands of one or more crews."""

from datetime import datetime, timedelta

from dispatch.reads.chain import Setting, cold_side, grains_of
from jobs.described import DescribedJob, Order
from jobs.rules.bays import lay_in_bays
from jobs.rules.plan import Plan


def bays_of(job: Order) -> int:
    """Sections that its joints divide it into; several floors are laid in one go."""
    if isinstance(job, DescribedJob):
        return 1
    floors = list(job.floors.all())
    return floors[0].bays if len(floors) == 1 else 1


def lay_bays(
    setting: Setting,
    *,
    crew_size: int,
    bays: int,
    start: datetime,
    second_start: datetime | None,
    grinders: int,
) -> Plan:
    """All is ground on the first visit and coated on the second. Raises CannotPlan."""
    slab = setting.coldest(start + timedelta(days=12))
    return lay_in_bays(
        work=setting.work,
        bays=bays,
        card=setting.card,
        rates=setting.rates,
        crew_size=crew_size,
        start=start,
        second_start=second_start,
        slab=slab,
        cold_slab=cold_side(setting, slab),
        grains=grains_of(setting.hours, slab),
        grinders=grinders,
    )
