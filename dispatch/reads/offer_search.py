"""The exact search behind offers: one crew, one day and one start, laid out and judged."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import cached_property

from dispatch.models import Crew, CrewMembership, Machine, MachineKind, Stint
from dispatch.reads.chain import Setting, lay, setting_for, verdict_on, with_grinders
from dispatch.reads.day_limits import DayLimits
from dispatch.reads.free_time import AHEAD_DAYS, Prepared, prepared
from dispatch.reads.handing_over import Had, NotHad, grind_of, grinder_for
from dispatch.reads.lending import lenders
from dispatch.reads.offer import NoGrinder, NoOffer, Offer, RefusedDay
from dispatch.reads.offer_screen import Candidate, Screen
from dispatch.reads.pricing_offers import Priced
from dispatch.reads.site_days import SiteDays
from dispatch.reads.site_grinders import Paced, SiteGrinders
from dispatch.reads.staffing import TEAM, Staffing
from dispatch.rules.costs import Costs
from dispatch.rules.findings import Level
from dispatch.rules.travel import Point, travel_min
from dispatch.rules.verdicts import Verdict
from jobs.described import Order
from jobs.rules.bays import bays_laid, divisions
from jobs.rules.clock import round_up_quarter, say_day
from jobs.rules.plan import Plan, Visit
from jobs.rules.refusals import CannotPlan, NeedsTwo
from weather.rules.hours import HOUR

__all__ = ["AHEAD_DAYS", "Search"]

LONGEST_ROAD_MIN = 240  # one way; a crew that sleeps at home works no further: common practice
WEATHER = 4  # the rank of a refusal by weather or slab
Roads = tuple[tuple[int, int], ...]


class Search:
    """Every crew on every day for one job, with what was read once for all of them."""

    def __init__(self, *, job: Order, now: datetime, moving: int | None) -> None:
        self.job = job
        self.branch = job.branch
        self.now = now
        self.moving = moving
        self.today = self.branch.today(now)
        self.stands = self._stands(moving)
        self.grinders = SiteGrinders(setting_for(job, now=now), self.staff.grinders)
        self.setting = self.grinders.setting
        self.costs = replace(Costs(), **self.branch.costs)
        self.site: Point = (job.site.latitude, job.site.longitude)
        depot = self.branch.depot_place
        self.depot: Point = (float(depot.latitude), float(depot.longitude))

    @staticmethod
    def _stands(moving: int | None) -> tuple[int, datetime] | None:
        """Crew and start of the booking that is being moved."""
        if moving is None:
            return None
        first = Stint.objects.standing().filter(booking_id=moving).order_by("number").first()
        return (first.crew_id, first.start) if first else None

    @cached_property
    def calendar(self) -> Prepared:
        """The branch's prepared calendar, without the booking that is being moved."""
        return prepared(self.branch, now=self.now, moving=self.moving)

    @property
    def staff(self) -> Staffing:
        """Who is free when."""
        return self.calendar.staff

    @cached_property
    def site_days(self) -> SiteDays:
        """The hours of each day at the site."""
        return SiteDays(
            self.job, now=self.now, holidays=self.staff.holidays, hours=self.setting.hours
        )

    @cached_property
    def screen(self) -> Screen:
        """Every candidate at a glance."""
        return Screen(
            setting=self.setting,
            calendar=self.calendar,
            days=self.site_days,
            costs=self.costs,
            now=self.now + timedelta(minutes=travel_min(self.depot, self.site)),
        )

    @cached_property
    def limits(self) -> DayLimits:
        """What a plan must keep to, whoever comes."""
        return DayLimits(self.setting, self.site_days)

    @cached_property
    def priced(self) -> Priced:
        """What offers cost, with all that is read for it."""
        return Priced(self.setting, self.site_days, self.calendar, self.costs)

    @cached_property
    def too_far(self) -> str:
        """Why nobody goes there and back in a day; empty where the road is short enough."""
        road_min = travel_min(self.depot, self.site)
        if road_min <= LONGEST_ROAD_MIN:
            return ""
        return f"The site is {road_min / 60:.0f} h by road from the depot: too far for a day."

    def days(self) -> list[date]:
        """Days that can be asked about, from today on."""
        return [self.today + timedelta(days=n) for n in range(AHEAD_DAYS + 1)]

    def on(self, day: date) -> Iterator[Offer | RefusedDay]:
        """Every crew's answer for one day; one refusal if the day is closed to all."""
        closed = self.site_days.closed(day)
        if closed:
            yield RefusedDay(day, closed, 1)
            return
        if not self.staff.crews:
            yield RefusedDay(day, "There is no crew in this branch yet.", 5)
        for crew in self.staff.crews:
            yield self.of(crew, day)

    def of(self, crew: Crew, day: date, first: Candidate | None = None) -> Offer | RefusedDay:
        """The crew's first start of the day that is an offer, else its weightiest reason.

        The screened start comes `first`, then first thing in the morning, then after each floor
        that the crew has that day.
        """
        refusals = [NoOffer(f"{crew} has no time that day.", 0)]
        rates = self.setting.rates
        arrivals = [self.site_days.first_start(day, at, rates) for at in self._arrivals(crew, day)]
        starts = list(dict.fromkeys([*([first.start] if first else []), *arrivals]))
        lent = first.lent if first else 0
        most = 2 * len(starts)
        for arrive in starts:
            try:
                return self.at(crew, day, arrive, lent=lent)
            except NoOffer as refusal:
                refusals.append(refusal)
                if first is not None and first.forbidden and refusal.rank >= WEATHER:
                    break  # every start of that day meets the same weather
                if isinstance(refusal, NoGrinder) and refusal.arrive and len(starts) < most:
                    starts.append(refusal.arrive)
        return max(refusals, key=lambda each: each.rank).on(day)

    def at(self, crew: Crew, day: date, arrive: datetime, *, lent: int = 0) -> Offer:
        """One crew that is there at `arrive`, or as soon after it as noise is allowed.

        It takes the fastest grinder that may be used there and is free. Raises NoOffer.
        """
        out: NoGrinder | None = None
        for paced in self.grinders.by_pace:
            try:
                return self._at(crew, day, arrive, lent, paced)
            except NoGrinder as none:
                out = out or none
        raise out or NoOffer(self.grinders.why_none, 5)

    def _at(self, crew: Crew, day: date, arrive: datetime, lent: int, paced: Paced) -> Offer:
        if self.too_far:
            raise NoOffer(self.too_far, 5)
        people = self.staff.team(crew, day)
        helpers = self._helpers(crew, day, arrive) if lent else []
        team = [*people, *helpers[:lent]]
        if len(team) < len(people) + lent:
            raise NoOffer("Nobody of another crew is free to help then.", 2)
        plan = self._plan(paced.setting, crew, day, arrive, len(team))
        if (crew.pk, plan.start) == self.stands:
            raise NoOffer("That is where it stands now.", 2)
        self.limits.check_hours(plan, day)
        travel = self._travel(crew, plan)
        had, generator = self._claims(crew, team, plan, travel, paced.grinders)
        self.limits.check_needed_again(plan)
        bare = Offer(
            job=self.job,
            crew=crew,
            crew_size=len(team),
            grinder=had.machine,
            grinder_from=had.start,
            generator=generator,
            day=day,
            plan=plan,
            verdict=self._verdict(paced.setting, plan, door=False),
            travel=travel,
            team=tuple(team) if team != self.staff.people(crew, day) else (),
            lent=tuple(helpers[:lent]),
        )
        return self.priced.priced(bare)

    def with_door(self, offer: Offer) -> Offer | RefusedDay:
        """The offer as it will be judged once booked: its slab with the garage door open.

        The search itself reckons with a shut door, since a slab of its own for every start
        would take seconds.
        """
        if not any(ground.feels_the_door for ground in self.setting.grounds):
            return offer
        visits = offer.plan.visits
        setting = with_grinders(self.setting, [offer.grinder])
        try:
            plan = lay(
                setting,
                crew_size=offer.crew_size,
                start=offer.plan.start,
                second_start=visits[1].start if len(visits) > 1 else None,
                bays=bays_laid(stage.kind for visit in visits for stage in visit.stages),
            )
            self.limits.check_hours(plan, offer.day)
            self.limits.check_needed_again(plan)
            verdict = self._verdict(setting, plan, door=True)
        except CannotPlan as refusal:
            return RefusedDay(offer.day, str(refusal), 3)
        except NoOffer as refusal:
            return refusal.on(offer.day)
        return self.priced.priced(replace(offer, plan=plan, verdict=verdict))

    def _verdict(self, setting: Setting, plan: Plan, *, door: bool) -> Verdict:
        latest = self.site_days.latest(self._day_of(plan.visits[-1]))
        verdict = verdict_on(setting, plan, day_end=latest, door=door)
        if verdict.level is Level.NO:
            change = verdict.ways_out[0] if verdict.ways_out else ""
            raise NoOffer(verdict.headline, WEATHER, str(change))
        return verdict

    def _day_of(self, visit: Visit) -> date:
        return visit.start.astimezone(self.branch.tz).date()

    def _helpers(self, crew: Crew, day: date, arrive: datetime) -> list[CrewMembership]:
        """Who of other crews could come along for the whole day."""
        return lenders(
            self.staff, crew, day, start=arrive - HOUR, end=self.site_days.latest(day) + HOUR
        )

    def _arrivals(self, crew: Crew, day: date) -> Iterator[datetime]:
        """When the crew could be there: first thing, or after a floor."""
        opens = self.site_days.opens(day)
        from_depot = timedelta(minutes=travel_min(self.depot, self.site))
        earliest = max(opens, self.now + from_depot)
        yield round_up_quarter(earliest)
        for busy in self.staff.on_day(crew, opens - 12 * HOUR, self.site_days.latest(day)):
            road = timedelta(minutes=travel_min(busy.point, self.site))
            yield round_up_quarter(max(earliest, busy.free_from + road))

    def _plan(self, setting: Setting, crew: Crew, day: date, arrive: datetime, people: int) -> Plan:
        if people < TEAM:
            raise NoOffer(f"{crew} has {people or 'nobody'} on {say_day(day)}; resin needs two.", 2)
        card = self.setting.card
        latest = self.site_days.latest(day)
        start = self.site_days.first_start(day, arrive, setting.rates)
        try:
            if card.two_days:
                return self._two_days(setting, day, start, people)
            plan = self._one_visit(setting, start, people)
            if plan.end <= latest or not card.overnight:
                return plan
            if (plan.base_end - plan.start) > latest - arrive:
                return plan  # not even the base fits; the one-day hours say it best
            return self._over_night(setting, plan, day, start, people)
        except NeedsTwo as refusal:
            raise NoOffer(str(refusal), 2) from refusal
        except CannotPlan as refusal:
            raise NoOffer(str(refusal), 3) from refusal

    def _one_visit(self, setting: Setting, start: datetime, people: int) -> Plan:
        """In one go, or bay by bay where joints divide it and that is done sooner."""
        found = [lay(setting, crew_size=people, start=start, door=False)]
        for bays in divisions(self.job.bays()):
            with suppress(CannotPlan):
                found.append(lay(setting, crew_size=people, start=start, bays=bays, door=False))
        return min(found, key=lambda plan: plan.end)

    def _over_night(
        self, setting: Setting, one_day: Plan, day: date, start: datetime, people: int
    ) -> Plan:
        """The base today, the top on the next working day, if the base may wait so long."""
        try:
            plan = self._two_days(setting, day, start, people)
            self.limits.check_recoat(plan, day)
        except NoOffer as refusal:
            short = self.limits.hours_refusal(one_day, day)
            if short is None:
                raise
            raise NoOffer(f"{short} {refusal}", refusal.rank, short.change) from refusal
        return plan

    def _two_days(self, setting: Setting, day: date, start: datetime, people: int) -> Plan:
        second = self.site_days.next_open(day)
        if second is None:
            raise NoOffer("There is no working day soon enough after it for the top coat.", 2)
        return lay(
            setting,
            crew_size=people,
            start=start,
            second_start=self.site_days.second_start(second, setting.rates),
            door=False,
        )

    def _travel(self, crew: Crew, plan: Plan) -> Roads:
        home_min = travel_min(self.site, self.depot)
        legs = []
        for visit in plan.visits:
            opens = self.site_days.opens(self._day_of(visit))
            earlier = self.staff.on_day(crew, opens - 12 * HOUR, visit.start)
            done = [each for each in earlier if each.end <= visit.start]
            later = self.staff.on_day(crew, visit.end, visit.end + 12 * HOUR)
            before = travel_min(done[-1].point, self.site) if done else home_min
            legs.append((before, travel_min(self.site, later[0].point) if later else home_min))
        return tuple(legs)

    def _claims(
        self,
        crew: Crew,
        team: list[CrewMembership],
        plan: Plan,
        travel: Roads,
        grinders: tuple[Machine, ...],
    ) -> tuple[Had, Machine | None]:
        """The grinder and the generator, once crew, people and machines are known to be free."""
        resources = [crew.resource_id, *(each.installer.resource_id for each in team)]
        had: Had | None = None
        generator: Machine | None = None
        for visit, (before, after) in zip(plan.visits, travel, strict=True):
            start = visit.start - timedelta(minutes=before)
            end = visit.end + timedelta(minutes=after)
            if not self.staff.free(resources, start, end):
                raise NoOffer(f"{crew} has other work or must rest then.", 1)
            if grind_of(visit):
                had = self._grinder(visit, start, end, grinders)
            if self.job.site.needs_generator:
                generator = self._generator(plan, travel)
        if had is None:
            raise NoOffer("Nothing is ground on any visit of this floor.", 5)
        return had, generator

    def _generator(self, plan: Plan, travel: Roads) -> Machine:
        """One that is free on every visit."""
        spans = [
            (visit.start - timedelta(minutes=before), visit.end + timedelta(minutes=after))
            for visit, (before, after) in zip(plan.visits, travel, strict=True)
        ]
        all_of_them = self.staff.of_kind(MachineKind.GENERATOR)
        for machine in all_of_them:
            if all(self.staff.free([machine.resource_id], *span) for span in spans):
                return machine
        if not all_of_them:
            raise NoOffer("The site has no socket for the grinder, and there is no generator.", 5)
        raise NoOffer("Every generator is out on another floor then.", 2)

    def _grinder(
        self, visit: Visit, start: datetime, end: datetime, grinders: tuple[Machine, ...]
    ) -> Had:
        """One of these grinders for a visit; one that is out may be handed over."""
        found = grinder_for(
            self.staff,
            visit,
            grinders,
            start=start,
            end=end,
            site=self.site,
            latest=self.site_days.latest(self._day_of(visit)),
            zone=self.setting.zone,
        )
        if isinstance(found, NotHad):
            raise NoGrinder(found.sentence, found.arrive)
        return found
