"""Settling: the places of a solved plan laid out and judged exactly, one beside the other."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import timedelta

import numpy as np

from dispatch.reads.offer import Offer, RefusedDay
from dispatch.reads.offer_screen import Candidate
from dispatch.reads.plan_rows import PlanRows, Spot, Two
from dispatch.reads.staffing import Busy, MachineOut, Staffing, Taken
from dispatch.rules.asking import PlannedStint
from dispatch.rules.granules import granules
from dispatch.rules.planning.candidates import NOWHERE
from dispatch.rules.planning.model import Ints
from dispatch.rules.rest import rest_until

WHOEVER_COMES = 3  # rank of a refusal from which on another crew would not help


@dataclass(frozen=True, eq=False)
class Placed:
    """Where a plan puts one floor; `offer` is None where it stays or finds no day."""

    floor: int
    column: int = NOWHERE
    offer: Offer | None = None
    shares_with: int | None = None


@dataclass(frozen=True, eq=False)
class Settled:
    """A plan whose new places all passed the exact look, beside those that did not."""

    placed: tuple[Placed, ...]
    refused: dict[Spot, RefusedDay]
    apart: set[Two]  # floors that did not fit on one crew-day together


@dataclass
class Settling:
    """Looks places up closely; what was found of one is kept for the next plan."""

    rows: PlanRows
    kept: dict[tuple[Spot, int], Offer | RefusedDay] = field(default_factory=dict)

    def settled(self, chosen: Ints) -> Settled:
        """Every floor's place. Floors whose new place is refused stay, or have no day."""
        built = self.rows.built
        placed = built.candidates_of(chosen)
        shares = built.pair_of(chosen)
        found = Settled((), {}, set())
        back: set[int] = set()  # floors that go back to where they stand
        while True:
            several, again = self._attempt(placed, shares, back, found)
            if not again:
                return replace(found, placed=tuple(several))
            back |= again

    def _attempt(
        self, placed: Ints, shares: dict[int, int], back: set[int], so_far: Settled
    ) -> tuple[list[Placed], set[int]]:
        """One pass over all floors; the booked ones that were refused just now."""
        floors = self.rows.floors
        moves = self._moves(placed, back)
        gone = [floors.floors[n].standing for n in moves]
        staff = floors.staff.without(each.booking.pk for each in gone if each is not None)
        found, again = [], set()
        for floor in self._order(placed, moves):
            offer = self._exact(int(placed[floor]), staff, floor in shares)
            if isinstance(offer, Offer):
                staff = with_offer(staff, offer)
                found.append(Placed(floor, int(placed[floor]), offer, shares.get(floor)))
                continue
            if floor in shares:
                so_far.apart.add(frozenset((floor, shares[floor])))
            else:
                so_far.refused[self.rows.spot(int(placed[floor]))] = offer
            if floors.floors[floor].standing is not None:
                again.add(floor)
            else:
                found.append(Placed(floor))
        found += [self._still(n, int(placed[n])) for n in range(len(placed)) if n not in moves]
        return sorted(found, key=lambda each: each.floor), again

    def closely(self, refused: dict[Spot, RefusedDay]) -> dict[Spot, RefusedDay]:
        """`refused` with every other crew and day that the same floors cannot have either.

        Where a floor itself cannot be done on a day, no other crew could do it then.
        """
        of, found = self.rows.columns, dict(refused)
        for floor in {spot[0] for spot in refused}:
            columns = np.flatnonzero((of.floor == floor) & ~of.stays)
            for day in np.unique(of.day[columns]):
                that_day = columns[of.day[columns] == day]
                column = int(that_day[np.argmin(of.cost[that_day])])
                offer = self._exact(column, self.rows.floors.calendar.staff, False)
                if isinstance(offer, RefusedDay):
                    alike = that_day if offer.rank >= WHOEVER_COMES else [column]
                    found |= {self.rows.spot(int(each)): offer for each in alike}
        return found

    def _moves(self, placed: Ints, back: set[int]) -> set[int]:
        """Floors that get another place than they have."""
        stays = self.rows.columns.stays
        return {
            n
            for n, column in enumerate(placed)
            if column != NOWHERE and not stays[column] and n not in back
        }

    def _order(self, placed: Ints, moves: Iterable[int]) -> list[int]:
        """By day, crew and hour, so that the second floor of a day follows the first."""
        of = self.rows.columns
        return sorted(
            moves, key=lambda n: (of.day[placed[n]], of.crew[placed[n]], of.end[placed[n]])
        )

    def _still(self, floor: int, column: int) -> Placed:
        here = np.flatnonzero(self.rows.columns.stays & (self.rows.columns.floor == floor))
        return Placed(floor, int(here[0])) if len(here) else Placed(floor)

    def _exact(self, column: int, staff: Staffing, shares: bool) -> Offer | RefusedDay:
        """The place as an offer among what stands in `staff`, or why it is none."""
        spot, start = self.rows.spot(column), int(self.rows.columns.start[column])
        kept = self.kept.get((spot, start))
        if isinstance(kept, RefusedDay):
            return kept
        if kept is not None and not shares and is_free(staff, kept):
            return kept
        floor = self.rows.floors.floors[spot[0]]
        search = floor.search.among(staff)
        crew = staff.crews[spot[1]]
        day = self.rows.floors.calendar.days[spot[2]]
        first = Candidate(spot[1], day, self.rows.start(column), 1, 0, 0.0)
        found = search.of(crew, day, first)
        if not shares:
            self.kept[spot, start] = found
        return found


def is_free(staff: Staffing, offer: Offer) -> bool:
    """Whether nothing that the offer claims is taken."""
    return all(
        not any(
            each.first < one.until and each.until > one.first for each in staff.taken.get(r, ())
        )
        for r, one in _claims(staff, offer)
    )


def with_offer(staff: Staffing, offer: Offer) -> Staffing:
    """`staff` as if the offer were booked; its rows carry the job's id with a minus sign."""
    taken, busy, out = dict(staff.taken), dict(staff.busy), dict(staff.out)
    for resource, one in _claims(staff, offer):
        taken[resource] = (*taken.get(resource, ()), one)
    site = offer.job.site
    point = (site.latitude, site.longitude)
    for stint in offer.ask().stints:
        home = stint.end + timedelta(minutes=stint.travel_after_min)
        here = Busy(stint.start, stint.end, home, point, _name(offer))
        several = (*busy.get(stint.crew_id, ()), here)
        busy[stint.crew_id] = tuple(sorted(several, key=lambda each: each.start))
        for machine in stint.machine_ids:
            where = str(offer.job.customer)
            stays = MachineOut(stint.end, home, point, where, _name(offer))
            out[machine] = (*out.get(machine, ()), stays)
    return replace(staff, taken=taken, busy=busy, out=out)


def _claims(staff: Staffing, offer: Offer) -> Iterator[tuple[int, Taken]]:
    """(resource, quarters) of everybody and everything the offer needs, as claims are written."""
    machines = {each.pk: each.resource_id for each in staff.machines}
    crews = {each.pk: each for each in staff.crews}
    for stint in offer.ask().stints:
        begins = stint.start - timedelta(minutes=stint.travel_before_min)
        home = stint.end + timedelta(minutes=stint.travel_after_min)
        crew = crews[stint.crew_id]
        spans = {span.machine_id: span.claimed for span in stint.machine_spans}
        rest = rest_until(start=stint.start, end=stint.end, home=home, zone=staff.branch.tz)
        numbers, own = granules(begins, home), granules(begins, rest or home)
        yield crew.resource_id, Taken(numbers.start, numbers.stop, _name(offer), crew.pk)
        for resource in _people(staff, offer, stint):
            yield resource, Taken(own.start, own.stop, _name(offer), crew.pk)
        for machine in stint.machine_ids:
            of = granules(*spans.get(machine, (begins, home)))
            yield machines[machine], Taken(of.start, of.stop, _name(offer), crew.pk)


def _people(staff: Staffing, offer: Offer, stint: PlannedStint) -> list[int]:
    crew = next(each for each in staff.crews if each.pk == stint.crew_id)
    day = stint.start.astimezone(staff.branch.tz).date()
    team = offer.team or staff.people(crew, day)
    return [each.installer.resource_id for each in team]


def _name(offer: Offer) -> int:
    return -int(getattr(offer.job, "pk", 0) or 0)
