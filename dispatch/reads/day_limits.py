"""What every plan at a site must keep to: hours, noise, the recoat window, when it is needed."""

from datetime import date, timedelta

from dispatch.reads.chain import Setting
from dispatch.reads.offer import NoOffer
from dispatch.reads.site_days import SiteDays
from jobs.rules.clock import round_up_quarter, say_moment, say_time
from jobs.rules.plan import Plan, Visit
from weather.rules.hours import HOUR


class DayLimits:
    """Raises NoOffer where a plan breaks one, with the numbers and the smallest way out."""

    def __init__(self, setting: Setting, days: SiteDays) -> None:
        self.setting = setting
        self.days = days
        self.zone = setting.zone

    def check_hours(self, plan: Plan, day: date) -> None:
        """Every visit ends in time and is loud only while it may be."""
        refusal = self.hours_refusal(plan, day)
        if refusal is not None:
            raise refusal
        for visit in plan.visits:
            self._check_noise(visit)

    def hours_refusal(self, plan: Plan, day: date) -> NoOffer | None:
        """Why the plan does not fit into the hours of its days, if it does not."""
        for visit in plan.visits:
            latest = self.days.latest(self._day_of(visit))
            if visit.end > latest:
                needs_h = (visit.end - visit.start) / HOUR
                late = visit.start - self.days.opens(day) > 2 * HOUR
                over_min = int((visit.end - latest) / timedelta(minutes=1)) + 1
                return NoOffer(
                    f"It takes {needs_h:.1f} h from {say_time(visit.start, self.zone)}"
                    f"{', after other work,' if late else ''}"
                    f" and work ends at {say_time(latest, self.zone)}.",
                    1 if late else 2,
                    f"{over_min} min longer on the site, or more hands.",
                )
        return None

    def _day_of(self, visit: Visit) -> date:
        return visit.start.astimezone(self.days.branch.tz).date()

    def _check_noise(self, visit: Visit) -> None:
        until = self.days.noisy_until(self._day_of(visit))
        loud = [stage for stage in visit.stages if stage.kind.noisy and stage.end > until]
        if loud:
            raise NoOffer(
                f"Noise would last until {say_time(loud[-1].end, self.zone)} "
                f"and must end at {say_time(until, self.zone)}.",
                2,
            )

    def check_recoat(self, plan: Plan, day: date) -> None:
        """A base that waits for another day is coated before its recoat window ends."""
        if plan.top_start <= plan.recoat_until:
            return
        back = self.days.why_not_back(day)
        raise NoOffer(
            f"{back} The base may wait until {say_moment(plan.recoat_until, self.zone)} "
            f"and would wait until {say_moment(plan.top_start, self.zone)}.".strip(),
            3,
        )

    def check_needed_again(self, plan: Plan) -> None:
        """The car is back, and the room open, when they are needed."""
        self._check_car(plan)
        reopens = self.setting.job.reopens_at
        if reopens is None:
            return
        margin = timedelta(minutes=self.days.starts.margin_min)
        if plan.walk_on is None or round_up_quarter(plan.walk_on) + margin > reopens:
            walk_on = "not known"
            if plan.walk_on is not None:
                walk_on = say_moment(round_up_quarter(plan.walk_on), self.zone)
            raise NoOffer(
                f"It opens again at {say_moment(reopens, self.zone)}, and walk-on is {walk_on}; "
                f"{margin.seconds // 60} minutes are kept between.",
                3,
            )

    def _check_car(self, plan: Plan) -> None:
        needed = self.setting.job.car_needed_by
        if needed is None:
            return
        if plan.drive_on is None:
            raise NoOffer(f"The car is needed back, and: {plan.drive_on_basis}", 3)
        drive_on = round_up_quarter(plan.drive_on)
        if drive_on > needed:
            late_h = (drive_on - needed) / HOUR
            raise NoOffer(
                f"Drive-on would be {say_moment(drive_on, self.zone)}, "
                f"after the car is needed at {say_moment(needed, self.zone)}.",
                3,
                f"If the car can wait {late_h:.0f} h longer.",
            )
