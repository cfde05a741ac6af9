"""What an offer costs and asks: its parts in money, how firm it is, what must be done before."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, time, timedelta
from functools import cached_property

from dispatch.reads.chain import Setting, beyond_forecast
from dispatch.reads.crew_day_prices import crew_day_prices
from dispatch.reads.free_time import AHEAD_DAYS, Prepared
from dispatch.reads.offer import Offer, Task
from dispatch.reads.second_opinion import SecondOpinion
from dispatch.reads.site_days import SiteDays
from dispatch.rules.costs import CostPart, Costs, cost_parts
from dispatch.rules.findings import Level
from dispatch.rules.firmness import firmest
from dispatch.rules.odds import margins_of, odds_spoiled
from dispatch.rules.screening import Money
from dispatch.rules.season import season_sentence
from jobs.models import DayWish, Floor, JobState
from jobs.rules.clock import round_up_quarter, say_day, say_moment
from jobs.rules.ordering import FLAKE_DAYS, RESIN_DAYS, order_by
from jobs.rules.plan import Plan
from weather.models import Place
from weather.rules.exposures import Exposure
from weather.rules.hours import HOUR
from weather.rules.seasonal import SeasonalOdds
from weather.seasons import seasonal_odds

DRY_PCT = 15.0


class Priced:
    """Reads once what all offers of a job are priced by."""

    def __init__(self, setting: Setting, days: SiteDays, calendar: Prepared, costs: Costs) -> None:
        self.setting = setting
        self.job = setting.job
        self.days = days
        self.calendar = calendar
        self.costs = costs
        self.second = SecondOpinion(setting)
        self._odds: dict[int, SeasonalOdds | None] = {}

    def priced(self, offer: Offer) -> Offer:
        """The offer with everything that follows from its plan and verdict."""
        beyond = beyond_forecast(self.setting, offer.plan)
        season = self._season(offer.plan)
        lead_days = (offer.day - self.days.today).days
        return replace(
            offer,
            level=firmest(
                exposures=self.job.exposures(),
                fixed=self.job.day_wish == DayWish.FIXED,
                lead_days=lead_days,
                level=offer.verdict.level,
            ),
            beyond=beyond,
            parts=self._parts(offer, beyond, season),
            second=self.second.on(offer.plan),
            season=season_sentence(season) if beyond and season else "",
            tasks=tuple(self.tasks(offer)),
        )

    def _parts(
        self, offer: Offer, beyond: bool, season: SeasonalOdds | None
    ) -> tuple[CostPart, ...]:
        day, verdict = offer.day, offer.verdict
        lead = (day - self.days.today).days
        later_h = self._later_h(offer)
        left_h = max(0.0, (self.days.latest(day) - offer.plan.visits[0].end) / HOUR)
        dry = self._enclosed and verdict.level is Level.GO and self._dry(day)
        return cost_parts(
            costs=self.costs,
            level=verdict.level,
            lead_days=lead,
            travel_min=sum(before + after for before, after in offer.travel),
            waited_days=lead,
            idle_h=left_h + later_h,
            later_h=later_h,
            takes_dry_day=dry and self._open_floors_wait,
            misses_wish=self.job.day_wish == DayWish.PREFERS and day != self.job.wished_day,
            visits=len(offer.plan.visits),
            wet_share=season.day if beyond and season else 0.0,
            odds=0.0 if beyond else self._odds_spoiled(offer, season),
            loss=self.costs.loss(float(self.job.price or 0)),
            fresh_days=self._fresh_days(offer),
            lent=len(offer.lent),
            crew_day_price=self._crew_day_price(offer),
            rushed=self._rushed(day),
        )

    @cached_property
    def _enclosed(self) -> bool:
        return all(exposure.enclosed for exposure in self.job.exposures())

    @cached_property
    def _open_floors_wait(self) -> bool:
        """Whether a floor under the sky waits for a day in this branch."""
        under_sky = [each.value for each in Exposure if each.open]
        waiting = Floor.objects.filter(
            jobs__branch=self.days.branch, jobs__state=JobState.WAITING, exposure__in=under_sky
        )
        return waiting.exists()

    def _odds_spoiled(self, offer: Offer, season: SeasonalOdds | None) -> float:
        """Odds that the weather spoils the worst of the floors (0 to 1)."""
        pour = offer.plan.pour
        month = season or self._of_month(pour.astimezone(self.setting.zone).month)
        if month is None:
            return 0.0
        margins = margins_of(
            checks=offer.verdict.checks,
            plan=offer.plan,
            card=self.setting.card,
            hours=self.setting.hours,
        )
        return max(
            odds_spoiled(
                margins=margins, exposure=exposure, lead_h=offer.verdict.lead_h, season=month
            ).total
            for exposure in self.job.exposures()
        )

    def _season(self, plan: Plan) -> SeasonalOdds | None:
        """What the month of the pour is usually like; nothing for floors under a roof and walls."""
        if self._enclosed:
            return None
        return self._of_month(plan.pour.astimezone(self.setting.zone).month)

    def _of_month(self, month: int) -> SeasonalOdds | None:
        if month not in self._odds:
            place = self._place
            self._odds[month] = (
                seasonal_odds(place, month, wet_day_pct=self.days.branch.wet_months)
                if place is not None
                else None
            )
        return self._odds[month]

    @property
    def _place(self) -> Place | None:
        """The place whose months count: that of a site never fetched is its neighbor's."""
        if self.job.site.place.pk is not None:
            return self.job.site.place
        return self.setting.forecast.place if self.setting.forecast else None

    def _later_h(self, offer: Offer) -> float:
        """Hours by which the crew could have begun sooner that day."""
        opens = self.days.opens(offer.day)
        earlier = self.calendar.staff.on_day(offer.crew, opens - 2 * HOUR, offer.plan.start)
        done = [each.free_from for each in earlier if each.free_from <= offer.plan.start]
        road = timedelta(minutes=offer.travel[0][0])
        there = max((each + road for each in done), default=opens)
        soonest = self.days.first_start(
            offer.day, max(there, opens, self.setting.now), self.setting.rates
        )
        return max(0.0, (offer.plan.start - round_up_quarter(soonest)) / HOUR)

    def _fresh_days(self, offer: Offer) -> int:
        """Days of crews that are begun for this floor alone."""
        crews = [offer.crew, *(share.crew for share in offer.partners)]
        visits = [each.start.astimezone(self.days.branch.tz).date() for each in offer.plan.visits]
        spans = [(self.days.opens(day) - 2 * HOUR, self.days.latest(day)) for day in visits]
        return sum(not self.calendar.staff.on_day(crew, *span) for crew in crews for span in spans)

    @cached_property
    def _prices(self) -> Money:
        return crew_day_prices(
            self.calendar.staff, first_day=self.calendar.first_day, days=AHEAD_DAYS + 1
        )

    def _crew_day_price(self, offer: Offer) -> float:
        crews = [each.pk for each in self.calendar.staff.crews]
        day = (offer.day - self.calendar.first_day).days
        if offer.crew.pk not in crews or not 0 <= day < len(self._prices):
            return 0.0
        return float(self._prices[day, crews.index(offer.crew.pk)])

    def _dry(self, day: date) -> bool:
        start = self.days.branch.at(day, time(6))
        chance = self.setting.hours.between(start, start + 14 * HOUR).rain_chance_pct
        return bool((chance < DRY_PCT).all())

    def tasks(self, offer: Offer) -> Iterator[Task]:
        """What the office must have done by when, soonest first."""
        for what, due in sorted(
            order_dates(self.setting, self.days, offer.day).items(), key=lambda each: each[1]
        ):
            if due >= self.days.today:
                yield Task(due, f"Order the {what}, where it is not in the store.")
        list_days = self.days.hours(offer.day).list_days
        if list_days:
            due = order_by(
                needed_on=offer.day,
                working_days=list_days - 1,
                closed=self.days.holidays,
                weekdays=_office_weekdays(self.days),
            )
            yield Task(due, f"Hand the crew's names in at the gate for {say_day(offer.day)}.")
        blocked = self._blocked_way(offer)
        if blocked:
            yield Task(offer.day, blocked)
        if offer.generator is not None:
            yield Task(offer.day, f"Take {offer.generator} along: the site has no socket.")

    def _blocked_way(self, offer: Offer) -> str:
        """A porch or the only way in is out of use until it can be walked on: ask for another."""
        porch = Exposure.PORCH in self.job.exposures()
        only = getattr(self.job.site, "only_way_in", False)
        if not (porch or only) or offer.walk_on is None:
            return ""
        until = say_moment(offer.walk_on, self.setting.zone)
        return (
            f"Ask for another way into the house and warn about parcels: this one is out of use "
            f"until {until}."
        )

    def _rushed(self, day: date) -> str:
        """What had to be ordered before today to be here by then; empty where all is in time."""
        late = [
            what
            for what, due in order_dates(self.setting, self.days, day).items()
            if due < self.days.today
        ]
        return f"{' and '.join(sorted(late))} must be in the store already" if late else ""


def _office_weekdays(days: SiteDays) -> tuple[int, ...]:
    """Days on which both the office and a supplier work."""
    return tuple(each for each in days.branch.weekdays if each < 5) or (0, 1, 2, 3, 4)


def order_dates(setting: Setting, days: SiteDays, day: date) -> dict[str, date]:
    """The last day to order resin and flake for a floor of that day."""
    wanted = {"resin": RESIN_DAYS}
    if setting.card.flake_kg_per_m2 > 0:
        wanted["flake"] = FLAKE_DAYS
    return {
        what: order_by(
            needed_on=day,
            working_days=working_days,
            closed=days.holidays,
            weekdays=_office_weekdays(days),
        )
        for what, working_days in wanted.items()
    }
