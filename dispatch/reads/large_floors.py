"""Large floors: two crews over two days, laid bay by bay, or why not and what would do."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import combinations

from dispatch.models import Booking, Crew, Machine
from dispatch.reads.chain import lay, verdict_on, with_grinders
from dispatch.reads.offer import NoOffer, Offer, Share
from dispatch.reads.offer_search import Search
from dispatch.reads.staffing import Busy
from dispatch.rules.findings import Level
from dispatch.rules.travel import travel_min
from jobs.models import DayWish
from jobs.rules.plan import Plan
from jobs.rules.refusals import CannotPlan
from jobs.rules.stages import hands_on_h, prepare_h
from weather.rules.hours import HOUR

DAYS_LOOKED_AT = 28
GRINDERS = (1, 2)


@dataclass(frozen=True)
class InTheWay:
    """A booking whose customer could be asked to move, so that both crews are free."""

    booking: Booking
    crew: Crew
    day: date


@dataclass(frozen=True, eq=False)
class LargeAnswer:
    """What a large floor comes to: offers of two crews, sentences, and who would have to move."""

    offers: tuple[Offer, ...]
    said: tuple[str, ...]
    in_the_way: tuple[InTheWay, ...]


def large_floor(search: Search) -> LargeAnswer | None:
    """Two crews on two days for a floor with joints; None for a floor without."""
    if search.job.bays() < 2 or search.setting.card.two_days:
        return None
    return _Large(search).answer()


class _Large:
    """One search for two crews on its way."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.setting = with_grinders(search.setting, search.grinders.usable)
        self.bays = search.job.bays()
        self.days = search.site_days

    def answer(self) -> LargeAnswer:
        """Offers of the next weeks, dearest last, with what was found out on the way."""
        offers: list[Offer] = []
        in_the_way: dict[int, InTheWay] = {}
        wished = self.search.job.wished_day
        for day in self.search.days()[:DAYS_LOOKED_AT]:
            if self.days.closed(day):
                continue
            for pair in combinations(self.search.staff.crews, 2):
                found = self._of(pair, day)
                if isinstance(found, Offer):
                    offers.append(found)
                elif found is not None and (wished is None or day == wished):
                    in_the_way.setdefault(found.booking.pk, found)
        offers.sort(key=lambda each: (each.cost, each.day))
        said = tuple(self._said())
        return LargeAnswer(tuple(offers), said, tuple(in_the_way.values()))

    def _said(self) -> Iterator[str]:
        """Why one crew and one grinder do not do, with the hours."""
        work, rates, card = self.setting.work, self.setting.rates, self.setting.card
        day_h = self._day_h()
        alone_h = hands_on_h(work=work, card=card, rates=rates, crew_size=2)
        days = -(-alone_h // day_h)
        yield (
            f"One crew of two needs {alone_h:.1f} h of work, about {days:.0f} days: "
            f"two days hold {2 * day_h:.0f} h."
        )
        one, two = (
            prepare_h(work=work, rates=rates, crew_size=4, grinders=grinders) + rates.pack_h
            for grinders in GRINDERS
        )
        if one > day_h >= two:
            yield (
                f"Four people with one large grinder prepare for {one:.1f} h, more than a day; "
                f"with a second one for {two:.1f} h."
            )
        owned = len(self.search.grinders.usable)
        if owned < 2:
            which = " that may be used there" if owned < len(self.search.staff.grinders) else ""
            have = f"{owned} grinder{'s' * (owned != 1)}{which}"
            yield f"The branch has {have}: a second one must be hired."
        yield f"It is coated in {self.bays} bays to the joints, once all of it is ground."

    def _day_h(self) -> float:
        day = next((each for each in self.search.days()[1:] if not self.days.closed(each)), None)
        return (self.days.latest(day) - self.days.opens(day)) / HOUR if day else 11.0

    def _of(self, pair: tuple[Crew, Crew], day: date) -> Offer | InTheWay | None:
        """The pair's offer from that day on, or the one booking that keeps it from being one."""
        second = self.days.next_open(day)
        grinders = self.search.grinders.usable
        if second is None or len(grinders) < 2:
            return None
        blocking = [
            (crew, each, when)
            for crew in pair
            for when in (day, second)
            for each in self._work_of(crew, when)
        ]
        ids = {each.booking_id for _, each, _ in blocking}
        if len(ids) > 1:
            return None
        if blocking:
            return self._movable(blocking[0][0], blocking[0][1], blocking[0][2])
        try:
            return self._offer(pair, day, second, grinders)
        except (NoOffer, CannotPlan):
            return None

    def _work_of(self, crew: Crew, day: date) -> list[Busy]:
        return self.search.staff.on_day(crew, self.days.opens(day) - HOUR, self.days.latest(day))

    def _movable(self, crew: Crew, busy: Busy, day: date) -> InTheWay | None:
        """The booking, if its customer takes any day."""
        booking = Booking.objects.select_related("job__customer", "job__site").get(
            pk=busy.booking_id
        )
        return InTheWay(booking, crew, day) if booking.job.day_wish == DayWish.ANY else None

    def _offer(
        self, pair: tuple[Crew, Crew], day: date, second: date, grinders: tuple[Machine, ...]
    ) -> Offer:
        search = self.search
        teams = [search.staff.team(crew, day) for crew in pair]
        people = sum(len(team) for team in teams)
        start = self.days.first_start(day, self.days.opens(day), self.setting.rates)
        plan = self._plan(people, start, second)
        search.limits.check_hours(plan, day)
        search.limits.check_needed_again(plan)
        home_min = travel_min(search.site, search.depot)
        roads = tuple((home_min, home_min) for _ in plan.visits)
        free = self._free_grinders(plan, grinders, home_min)
        resources = [crew.resource_id for crew in pair]
        resources += [each.installer.resource_id for team in teams for each in team]
        for visit in plan.visits:
            span = self._span(visit.start, visit.end, home_min)
            if not search.staff.free(resources, *span):
                raise NoOffer("One of the crews has other work then.", 1)
        verdict = verdict_on(self.setting, plan, day_end=self.days.latest(second), door=False)
        if verdict.level is Level.NO:
            raise NoOffer(verdict.headline, 4)
        whole = [search.staff.people(crew, day) for crew in pair]
        if teams != whole:
            raise NoOffer("Somebody of the two crews is away then.", 2)
        bare = Offer(
            job=search.job,
            crew=pair[0],
            crew_size=len(teams[0]),
            grinder=free[0],
            day=day,
            plan=plan,
            verdict=verdict,
            travel=roads,
            partners=(Share(pair[1], len(teams[1]), free[1], roads),),
        )
        return search.priced.priced(bare)

    def _plan(self, people: int, start: datetime, second: date) -> Plan:
        return lay(
            self.setting,
            crew_size=people,
            bays=self.bays,
            grinders=2,
            start=start,
            second_start=self.days.opens(second),
            door=False,
        )

    def _free_grinders(
        self, plan: Plan, grinders: tuple[Machine, ...], home_min: int
    ) -> list[Machine]:
        first = plan.visits[0]
        span = self._span(first.start, first.end, home_min)
        free = [each for each in grinders if self.search.staff.free([each.resource_id], *span)]
        if len(free) < 2:
            raise NoOffer("Two grinders are needed at once, and one is out.", 2)
        return free

    @staticmethod
    def _span(start: datetime, end: datetime, road_min: int) -> tuple[datetime, datetime]:
        road = timedelta(minutes=road_min)
        return start - road, end + road


def at_key(search: Search, key: str) -> Offer | None:
    """The offer of two crews that a key names, worked out afresh."""
    answer = large_floor(search)
    found = answer.offers if answer else ()
    return next((replace(each) for each in found if each.key == key), None)
