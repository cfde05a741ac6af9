"""Sections at joints: a large floor is ground as a whole, then coated bay by bay.

While one bay sets the crew lays the next, so most of the wait disappears. No bay is ground
beside wet resin: its dust would lie in the coat.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from math import isnan

from jobs.rules.cards import Card
from jobs.rules.coats import Base, Coater, Rest, Stretch, Top
from jobs.rules.plan import Plan, StageKind, Visit, Work
from jobs.rules.rates import Rates, stage_hours
from jobs.rules.refusals import CannotPlan, Unknown
from jobs.rules.stages import PREPARE
from weather.rules.hours import Series, SlabHours

MOST_BAYS = 24


@dataclass
class _Bay:
    """One bay on its way: its base, and its top once it is laid."""

    base: Base | None = None
    top: Top | None = None


def divisions(bays: int) -> list[int]:
    """Into how many equal sections a floor can be divided at the joints of so many bays."""
    return [count for count in range(2, bays + 1) if bays % count == 0]


def bays_laid(kinds: Iterable[str]) -> int:
    """Into how many bays a floor was laid, by the kinds of its stages."""
    return max(1, sum(kind == StageKind.BASE for kind in kinds))


def lay_in_bays(
    *,
    work: Work,
    bays: int,
    card: Card,
    rates: Rates,
    crew_size: int,
    start: datetime,
    slab: SlabHours,
    second_start: datetime | None = None,
    cold_slab: SlabHours | None = None,
    grains: Series | None = None,
    grinders: int | None = None,
) -> Plan:
    """The whole floor on the clock in so many equal bays, divided at its joints.

    With `second_start` the first visit prepares all of it and the second coats; otherwise all
    is one visit. `crew_size` counts all hands, of two crews as well. Promises count from the
    last bay's top. Raises CannotPlan.
    """
    if not 1 <= bays <= MOST_BAYS:
        raise CannotPlan(f"A floor is coated in 1 to {MOST_BAYS} bays, not {bays}.")
    if card.two_days:
        raise CannotPlan("This system waits a day between its coats: lay each bay as a floor.")
    whole = stage_hours(work=work, rates=rates, crew_size=crew_size, grinders=grinders)
    going = Stretch(start.astimezone(UTC), whole, crew_size, rest=Rest.of(rates))
    going.do(*PREPARE)
    visits: list[Visit] = []
    if second_start is not None:
        left = going
        going = going.leave_until(second_start, set_up_h=rates.return_set_up_h)
        visits.append(left.visit())
    one = stage_hours(
        work=replace(work, area_m2=work.area_m2 / bays), rates=rates, crew_size=crew_size
    )
    if card.flake_kg_per_m2 == 0:
        one.pop(StageKind.SCRAPE, None)
    going.hours = {**one, StageKind.PACK: whole.get(StageKind.PACK, 0.0)}
    floor = Coater(
        card=card,
        slab=slab,
        cold=cold_slab or slab,
        grains=grains,
        set_factor=rates.set_factor,
    )
    laid = [_Bay() for _ in range(bays)]
    while any(bay.top is None for bay in laid):
        _next(going, floor, laid)
    going.do(StageKind.PACK)
    visits.append(going.visit())
    return _plan(floor, tuple(visits), laid)


def _next(going: Stretch, floor: Coater, laid: list[_Bay]) -> None:
    """Do what is ready: a bay that has set comes before a new base, oldest first."""
    setting = [bay for bay in laid if bay.base is not None and bay.top is None]
    fresh = [bay for bay in laid if bay.base is None]
    ready = [bay for bay in setting if bay.base and bay.base.recoat_from <= going.now]
    if ready and ready[0].base is not None:
        ready[0].top = _top(going, floor, ready[0].base)
    elif fresh:
        fresh[0].base = floor.base(going)
    else:
        going.wait(min(bay.base.recoat_from for bay in setting if bay.base is not None))


def _top(going: Stretch, floor: Coater, base: Base) -> Top:
    going.do(StageKind.SCRAPE)
    if going.now > base.recoat_until:
        raise CannotPlan("A bay would be left past its recoat window: make fewer or smaller bays.")
    start, start_c = going.now, floor.slab.at_c(going.now)
    if isnan(start_c):
        raise Unknown("The slab's temperature is not known for the hour of a bay's top coat.")
    going.do(StageKind.TOP)
    return Top(start, start_c, going.now, abraded=False)


def _plan(floor: Coater, visits: tuple[Visit, ...], laid: list[_Bay]) -> Plan:
    """One plan of all bays: the first pour, the last top, the tightest recoat window."""
    bases = [bay.base for bay in laid if bay.base is not None]
    tops = [bay.top for bay in laid if bay.top is not None]
    base = replace(
        bases[0],
        end=max(each.end for each in bases),
        recoat_until=min(each.recoat_until for each in bases),
    )
    last = max(tops, key=lambda top: top.end)
    top = replace(last, start=min(each.start for each in tops), end=last.end)
    return floor.plan(visits, base, top, waited=False)
