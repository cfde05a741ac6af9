"""Making a plan so: each line is booked or moved like any other, and refused like any other."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime

from dispatch.models import Booking, LineKind, PlanLine, PlanOption, PlanState, StoredPlan
from dispatch.reads.free_time import prepared
from dispatch.reads.offer import NoOffer, Offer
from dispatch.reads.plan_floors import bare_of
from dispatch.reads.plan_search import PlanSearch
from dispatch.rules.asking import Ask
from dispatch.services import bookings
from dispatch.services.claims import SlotTaken
from dispatch.services.swapping import Side, move_together
from jobs.access import Actor
from jobs.models import Branch, Job
from jobs.refusals import NotFound, Refusal

WHY = "The plan of the week"


@dataclass(frozen=True)
class Applied:
    """What came of one line; `why` is a sentence where it was refused."""

    line: PlanLine
    done: bool
    why: str = ""


def apply_plan(
    *,
    branch: Branch,
    plan_id: int,
    most_rings: int,
    by: Actor,
    now: datetime,
    only: Collection[int] | None = None,
) -> list[Applied]:
    """Make an option of a plan so, or only the lines whose ids are in `only`.

    Every line is a transaction of its own, checked against the versions the plan was made
    from; bookings that stand in each other's way move together. A line that was made so
    before changes nothing. Raises NotFound.
    """
    lines = _lines(branch, plan_id, most_rings, only)
    applying = _Applying(branch, by, now, [line for line in lines if line.applied_at is None])
    done = [Applied(line, True) for line in lines if line.applied_at is not None]
    return done + applying.all()


def _lines(
    branch: Branch, plan_id: int, most_rings: int, only: Collection[int] | None
) -> list[PlanLine]:
    plan = StoredPlan.objects.of_branch(branch).filter(pk=plan_id, state=PlanState.READY).first()
    if plan is None:
        raise NotFound("There is no such plan in this branch, or it is not ready.")
    option = PlanOption.objects.filter(plan=plan, most_rings=most_rings).first()
    if option is None:
        raise NotFound(f"The plan has no option with at most {most_rings} to ring.")
    wanted = option.lines.filter(kind__in=(LineKind.PLACE, LineKind.MOVE))
    if only is not None:
        wanted = wanted.filter(pk__in=only)
    rows = wanted.select_related("booking", "job__customer").order_by("kind", "start", "pk")
    return list(rows)


class _Applying:
    """The lines still to be made so; moves first, since they make room."""

    def __init__(self, branch: Branch, by: Actor, now: datetime, lines: list[PlanLine]) -> None:
        self.branch = branch
        self.by = by
        self.now = now
        self.moves = [line for line in lines if line.kind == LineKind.MOVE]
        self.places = [line for line in lines if line.kind == LineKind.PLACE]

    def all(self) -> list[Applied]:
        """Every line with what came of it."""
        found = [self._there(line) for line in self.moves if _stands(line)]
        self.moves = [line for line in self.moves if not _stands(line)]
        while self.moves:
            one_pass = [(line, self._try(line)) for line in list(self.moves)]
            settled = [each for _, each in one_pass if each is not None]
            if not settled:
                break
            found += settled
            gone = {each.line.pk for each in settled}
            self.moves = [line for line in self.moves if line.pk not in gone]
        if self.moves:
            found += self._together()
        return found + [self._place(line) for line in self.places]

    def _there(self, line: PlanLine) -> Applied:
        PlanLine.objects.filter(pk=line.pk).update(applied_at=self.now)
        return Applied(line, True)

    def _try(self, line: PlanLine) -> Applied | None:
        """One move by itself; None while another booking of the plan is still in its way."""
        try:
            ask = self._ask(line, free=[line])
            bookings.move(
                branch=self.branch,
                booking_id=line.booking_id or 0,
                version=line.booking_version or 0,
                ask=ask,
                by=self.by,
                now=self.now,
            )
        except (NoOffer, SlotTaken) as refusal:
            return Applied(line, False, str(refusal)) if len(self.moves) == 1 else None
        except Refusal as refusal:
            return Applied(line, False, str(refusal))
        return self._there(line)

    def _together(self) -> list[Applied]:
        """The moves that stand in each other's way, in one transaction."""
        sides, left = [], []
        for line in self.moves:
            try:
                ask = self._ask(line, free=self.moves)
            except NoOffer as refusal:
                left.append(Applied(line, False, str(refusal)))
                continue
            sides.append((line, Side(line.booking_id or 0, line.booking_version or 0, ask)))
        if not sides:
            return left
        try:
            move_together(
                branch=self.branch,
                sides=[side for _, side in sides],
                by=self.by,
                now=self.now,
                why=WHY,
            )
        except Refusal as refusal:
            return left + [Applied(line, False, str(refusal)) for line, _ in sides]
        return left + [self._there(line) for line, _ in sides]

    def _place(self, line: PlanLine) -> Applied:
        try:
            ask = self._ask(line, free=[])
            bookings.book(
                branch=self.branch,
                job_id=line.job_id,
                version=line.job_version,
                ask=replace(ask, key=f"plan-line-{line.pk}"),
                by=self.by,
                now=self.now,
                asked=("plan-line", line.pk),
            )
        except (NoOffer, Refusal) as refusal:
            return Applied(line, False, str(refusal))
        return self._there(line)

    def _ask(self, line: PlanLine, *, free: list[PlanLine]) -> Ask:
        """The line worked out afresh on the calendar as it is now. Raises NoOffer."""
        calendar = prepared(self.branch, now=self.now)
        calendar = bare_of(calendar, [each.booking_id for each in free if each.booking_id])
        job = Job.objects.of_branch(self.branch).with_floors().get(pk=line.job_id)
        job.branch = self.branch
        search = PlanSearch(job=job, now=self.now, calendar=calendar, days=1)
        crew = next((each for each in search.staff.crews if each.pk == line.crew_id), None)
        if crew is None or line.start is None:
            raise NoOffer("The crew of the plan no longer works in this branch.", 5)
        if line.start <= self.now:
            raise NoOffer("The hour of the plan has gone by.", 1)
        offer: Offer = search.exactly(crew, line.start)
        if offer.plan.start != line.start:
            raise NoOffer("The crew can no longer begin at the hour of the plan.", 2)
        return offer.ask(why=WHY)


def _stands(line: PlanLine) -> bool:
    """Whether the booking is where the line wants it already."""
    booking: Booking | None = line.booking
    if booking is None:
        return False
    first = booking.stints.exclude(state="called_off").order_by("number").first()
    return first is not None and (first.crew_id, first.start) == (line.crew_id, line.start)
