"""The search behind offers: every crew on every day for one job, or the reason why not."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from functools import cached_property

from dispatch.models import Crew, CrewMembership, Machine, Stint
from dispatch.reads.chain import beyond_forecast, lay, setting_for, verdict_on
from dispatch.reads.handing_over import Had, NotHad, grind_of, grinder_for
from dispatch.reads.offer import NoGrinder, NoOffer, Offer, RefusedDay
from dispatch.reads.second_opinion import SecondOpinion
from dispatch.reads.staffing import Staffing, staffing
from dispatch.rules.costs import CostPart, Costs, cost_parts
from dispatch.rules.findings import Level
from dispatch.rules.firmness import firmest
from dispatch.rules.season import season_sentence
from dispatch.rules.travel import Point, travel_min
from dispatch.rules.verdicts import Verdict
from jobs.models import DayWish, Job
from jobs.rules.clock import round_up_quarter, say_day, say_moment, say_time
from jobs.rules.plan import Plan, StageKind, Visit
from jobs.rules.quiet import SECOND_DAY, earliest_start
from jobs.rules.refusals import CannotPlan, NeedsTwo
from weather.rules.hours import HOUR
from weather.rules.seasonal import SeasonalOdds
from weather.seasons import seasonal_odds

AHEAD_DAYS = 21
LATEST_SECOND_DAY = 3


class Search:
    """Every crew on every day for one job, with what was read once for all of them."""

    def __init__(self, *, job: Job, now: datetime, moving: int | None) -> None:
        self.job = job
        self.branch = job.branch
        self.now = now
        self.moving = moving
        self.today = self.branch.today(now)
        self.stands = self._stands(moving)
        self.setting = setting_for(job, now=now)
        self.second = SecondOpinion(self.setting)
        self._odds: dict[int, SeasonalOdds] = {}
        self.costs = replace(Costs(), **self.branch.costs)
        self.site: Point = (job.site.latitude, job.site.longitude)
        depot = self.branch.depot_place
        self.depot: Point = (float(depot.latitude), float(depot.longitude))

    @staticmethod
    def _stands(moving: int | None) -> tuple[int, datetime] | None:
        """Crew and start of the booking that is being moved."""
        first = Stint.objects.standing().filter(booking_id=moving).order_by("number").first()
        return (first.crew_id, first.start) if first else None

    @cached_property
    def staff(self) -> Staffing:
        """The branch's calendar, read once."""
        end = self.now + timedelta(days=AHEAD_DAYS + LATEST_SECOND_DAY + 2)
        return staffing(self.branch, start=self.now, end=end, without=self.moving)

    def days(self) -> list[date]:
        """Days that can be asked about, from today on."""
        return [self.today + timedelta(days=n) for n in range(AHEAD_DAYS + 1)]

    def on(self, day: date) -> Iterator[Offer | RefusedDay]:
        """Every crew's answer for one day; one refusal if the day is closed to all."""
        closed = self._closed(day)
        if closed:
            yield RefusedDay(day, closed, 1)
            return
        if not self.staff.crews:
            yield RefusedDay(day, "There is no crew in this branch yet.", 5)
        for crew in self.staff.crews:
            yield self._of(crew, day)

    def _of(self, crew: Crew, day: date) -> Offer | RefusedDay:
        """The crew's first start of the day that is an offer, else its weightiest reason."""
        refusals = [NoOffer(f"{crew} has no time that day.", 0)]
        starts = list(self._arrivals(crew, day))
        most = 2 * len(starts)
        for arrive, before_min in starts:
            try:
                return self._with(crew, day, arrive, before_min)
            except NoOffer as refusal:
                refusals.append(refusal)
                if isinstance(refusal, NoGrinder) and refusal.arrive and len(starts) < most:
                    starts.append((refusal.arrive, before_min))
        worst = max(refusals, key=lambda each: each.rank)
        return RefusedDay(day, str(worst), worst.rank)

    def with_door(self, offer: Offer) -> Offer | RefusedDay:
        """The offer as it will be judged once booked: its slab with the garage door open.

        The search itself reckons with a shut door, since a slab of its own for every start
        would take seconds.
        """
        if not any(ground.feels_the_door for ground in self.setting.grounds):
            return offer
        visits = offer.plan.visits
        try:
            plan = lay(
                self.setting,
                crew_size=offer.crew_size,
                start=offer.plan.start,
                second_start=visits[1].start if len(visits) > 1 else None,
            )
            self._check_hours(plan, offer.day)
            self._check_car(plan)
            verdict = self._verdict(plan, door=True)
        except CannotPlan as refusal:
            return RefusedDay(offer.day, str(refusal), 3)
        except NoOffer as refusal:
            return RefusedDay(offer.day, str(refusal), refusal.rank)
        return self._offer(
            crew=offer.crew,
            crew_size=offer.crew_size,
            grinder=offer.grinder,
            grinder_from=offer.grinder_from,
            day=offer.day,
            plan=plan,
            verdict=verdict,
            travel=offer.travel,
        )

    def _verdict(self, plan: Plan, *, door: bool) -> Verdict:
        latest = self._latest(plan.visits[-1].start.astimezone(self.branch.tz).date())
        verdict = verdict_on(self.setting, plan, day_end=latest, door=door)
        if verdict.level is Level.NO:
            raise NoOffer(verdict.headline, 4)
        return verdict

    def _closed(self, day: date) -> str:
        """Why nobody can come that day, or an empty string."""
        return self._branch_closed(day) or self._customer_cannot(day)

    def _branch_closed(self, day: date) -> str:
        if day.weekday() not in self.branch.weekdays:
            return f"{self.branch} does not work on {day:%A}s."
        if day in self.staff.holidays:
            return f"{say_day(day)} is {self.staff.holidays[day]}."
        return "The day is over." if self._latest(day) <= self.now else ""

    def _customer_cannot(self, day: date) -> str:
        customer, fixed = self.job.customer, self.job.wished_day
        if day == self.today and not self.job.can_come_soon:
            return f"{customer} needs a day to empty the floor."
        if day in self.job.days_off():
            return f"{customer} cannot on {say_day(day)}."
        if self.job.day_wish == DayWish.FIXED and fixed is not None and day != fixed:
            return f"{customer} can only on {say_day(fixed)}."
        return ""

    def _with(self, crew: Crew, day: date, arrive: datetime, before_min: int) -> Offer:
        people = self.staff.people(crew, day)
        plan = self._plan(crew, day, arrive, len(people))
        if (crew.pk, plan.start) == self.stands:
            raise NoOffer("That is where it stands now.", 2)
        self._check_hours(plan, day)
        travel = self._travel(crew, plan, before_min)
        had = self._claims(crew, people, plan, travel)
        self._check_car(plan)
        verdict = self._verdict(plan, door=False)
        return self._offer(
            crew=crew,
            crew_size=len(people),
            grinder=had.machine,
            grinder_from=had.start,
            day=day,
            plan=plan,
            verdict=verdict,
            travel=travel,
        )

    def _offer(
        self,
        *,
        crew: Crew,
        crew_size: int,
        grinder: Machine,
        grinder_from: datetime | None,
        day: date,
        plan: Plan,
        verdict: Verdict,
        travel: tuple[tuple[int, int], ...],
    ) -> Offer:
        beyond = beyond_forecast(self.setting, plan)
        odds = self._season(plan) if beyond else None
        level = firmest(
            exposures=self.job.exposures(),
            fixed=self.job.day_wish == DayWish.FIXED,
            lead_days=(day - self.today).days,
            level=verdict.level,
        )
        return Offer(
            job=self.job,
            crew=crew,
            crew_size=crew_size,
            grinder=grinder,
            grinder_from=grinder_from,
            day=day,
            plan=plan,
            verdict=verdict,
            level=level,
            travel=travel,
            parts=self._cost(day, plan, verdict, travel, odds.day if odds else 0.0),
            beyond=beyond,
            second=self.second.on(plan),
            season=season_sentence(odds) if odds else "",
        )

    def _season(self, plan: Plan) -> SeasonalOdds | None:
        """What the month of the pour is usually like; nothing for floors under a roof and walls."""
        if all(exposure.enclosed for exposure in self.job.exposures()):
            return None
        month = plan.pour.astimezone(self.setting.zone).month
        if month not in self._odds:
            self._odds[month] = seasonal_odds(
                self.job.site.place, month, wet_day_pct=self.branch.wet_months
            )
        return self._odds[month]

    def _cost(
        self,
        day: date,
        plan: Plan,
        verdict: Verdict,
        travel: tuple[tuple[int, int], ...],
        wet_share: float,
    ) -> tuple[CostPart, ...]:
        lead = (day - self.today).days
        enclosed = all(exposure.enclosed for exposure in self.job.exposures())
        return cost_parts(
            costs=self.costs,
            level=verdict.level,
            lead_days=lead,
            travel_min=sum(before + after for before, after in travel),
            waited_days=lead,
            idle_h=max(0.0, (self._latest(day) - plan.visits[0].end) / HOUR),
            takes_dry_day=enclosed and verdict.level is Level.GO and self._dry(day),
            misses_wish=self.job.day_wish == DayWish.PREFERS and day != self.job.wished_day,
            visits=len(plan.visits),
            wet_share=wet_share,
        )

    def _arrivals(self, crew: Crew, day: date) -> Iterator[tuple[datetime, int]]:
        """When the crew could be there, with its minutes of road: first thing, or after a floor."""
        opens = self.branch.at(day, max(self.branch.day_starts, self.job.site.opens or time(0)))
        from_depot = travel_min(self.depot, self.site)
        earliest = self.now + timedelta(minutes=from_depot)
        yield round_up_quarter(max(opens, earliest)), from_depot
        for busy in self.staff.on_day(crew, opens - 12 * HOUR, self._latest(day)):
            road_min = travel_min(busy.point, self.site)
            there = busy.free_from + timedelta(minutes=road_min)
            yield round_up_quarter(max(opens, earliest, there)), road_min

    def _plan(self, crew: Crew, day: date, arrive: datetime, people: int) -> Plan:
        if people < 2:
            raise NoOffer(f"{crew} has {people or 'nobody'} on {say_day(day)}; resin needs two.", 2)
        card = self.setting.card
        try:
            if not card.two_days:
                start = self._quiet(day, arrive)
                plan = lay(self.setting, crew_size=people, start=start, door=False)
                if plan.end <= self._latest(day) or not card.overnight:
                    return plan
                if (plan.base_end - plan.start) > self._latest(day) - arrive:
                    return plan  # not even the base fits; the one-day hours say it best
            second = self._second_day(day)
            return lay(
                self.setting,
                crew_size=people,
                start=self._quiet(day, arrive),
                second_start=second,
                door=False,
            )
        except NeedsTwo as refusal:
            raise NoOffer(str(refusal), 2) from refusal
        except CannotPlan as refusal:
            raise NoOffer(str(refusal), 3) from refusal

    def _quiet(self, day: date, arrive: datetime) -> datetime:
        """Start so late that the first noisy stage falls after the quiet hours."""
        rates = self.setting.rates
        hours = {StageKind.SET_UP: rates.set_up_h, StageKind.MASK: rates.mask_h}
        return earliest_start(arrive=arrive, noisy_from=self._noisy_from(day), hours=hours)

    def _noisy_from(self, day: date) -> datetime:
        return self.branch.at(day, self.job.site.quiet_until or self.branch.quiet_until)

    def _second_day(self, day: date) -> datetime:
        for ahead in range(1, LATEST_SECOND_DAY + 1):
            second = day + timedelta(days=ahead)
            if not self._branch_closed(second) and second not in self.job.days_off():
                opens = max(self.branch.day_starts, self.job.site.opens or time(0))
                return earliest_start(
                    arrive=self.branch.at(second, opens),
                    noisy_from=self._noisy_from(second),
                    hours={StageKind.SET_UP: self.setting.rates.return_set_up_h},
                    order=SECOND_DAY,
                )
        raise NoOffer("There is no working day soon enough after it for the top coat.", 2)

    def _check_hours(self, plan: Plan, day: date) -> None:
        for visit in plan.visits:
            latest = self._latest(visit.start.astimezone(self.branch.tz).date())
            if visit.end > latest:
                zone = self.setting.zone
                needs = (visit.end - visit.start) / HOUR
                opens = self.branch.at(day, self.branch.day_starts)
                late = visit.start - opens > HOUR
                raise NoOffer(
                    f"It takes {needs:.1f} h from {say_time(visit.start, zone)}"
                    f"{', after other work,' if late else ''}"
                    f" and work ends at {say_time(latest, zone)}.",
                    1 if late else 2,
                )

    def _travel(self, crew: Crew, plan: Plan, before_min: int) -> tuple[tuple[int, int], ...]:
        home_min = travel_min(self.site, self.depot)
        legs = []
        for number, visit in enumerate(plan.visits):
            end = visit.end
            later = self.staff.on_day(crew, end, end + 12 * HOUR)
            after = travel_min(self.site, later[0].point) if later else home_min
            legs.append((before_min if number == 0 else home_min, after))
        return tuple(legs)

    def _claims(
        self,
        crew: Crew,
        people: list[CrewMembership],
        plan: Plan,
        travel: tuple[tuple[int, int], ...],
    ) -> Had:
        resources = [crew.resource_id, *(each.installer.resource_id for each in people)]
        had: Had | None = None
        for visit, (before, after) in zip(plan.visits, travel, strict=True):
            start = visit.start - timedelta(minutes=before)
            end = visit.end + timedelta(minutes=after)
            if not self.staff.free(resources, start, end):
                raise NoOffer(f"{crew} has other work or must rest then.", 1)
            if grind_of(visit):
                had = self._grinder(visit, start, end)
        if had is None:
            raise NoOffer("There is no grinder in this branch yet.", 5)
        return had

    def _grinder(self, visit: Visit, start: datetime, end: datetime) -> Had:
        """The grinder of a visit; one that is out may be handed over."""
        found = grinder_for(
            self.staff,
            visit,
            start=start,
            end=end,
            site=self.site,
            latest=self._latest(visit.start.astimezone(self.branch.tz).date()),
            zone=self.setting.zone,
        )
        if isinstance(found, NotHad):
            raise NoGrinder(found.sentence, found.arrive)
        return found

    def _check_car(self, plan: Plan) -> None:
        needed = self.job.car_needed_by
        if needed is None:
            return
        zone = self.setting.zone
        if plan.drive_on is None:
            raise NoOffer(f"The car is needed back, and: {plan.drive_on_basis}", 3)
        drive_on = round_up_quarter(plan.drive_on)
        if drive_on > needed:
            raise NoOffer(
                f"Drive-on would be {say_moment(drive_on, zone)}, "
                f"after the car is needed at {say_moment(needed, zone)}.",
                3,
            )

    def _latest(self, day: date) -> datetime:
        """When everybody must have left: the branch's day or the site's closing."""
        closes = min(self.branch.day_ends, self.job.site.closes or time(23, 59))
        return self.branch.at(day, closes)

    def _dry(self, day: date) -> bool:
        start = self.branch.at(day, time(6))
        chance = self.setting.hours.between(start, start + 14 * HOUR).rain_chance_pct
        return bool((chance < 15).all())
