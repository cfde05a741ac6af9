"""For a date to meet, such as a car that must be back: the latest start of every system."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from dispatch.reads.chain import Setting, lay, setting_for
from dispatch.reads.free_time import prepared
from dispatch.reads.pricing_offers import order_dates
from dispatch.reads.site_days import SiteDays
from jobs.described import Order
from jobs.models import CoatingSystem
from jobs.rules.clock import round_up_quarter, say_day, say_moment
from jobs.rules.plan import Plan
from jobs.rules.refusals import CannotPlan

BACK_DAYS = 21
PEOPLE = 2


@dataclass(frozen=True)
class LatestStart:
    """One system: when the crew must begin at the latest, and by when its goods are ordered."""

    system: str
    start: datetime | None
    order_by: date | None
    sentence: str


def latest_starts(job: Order, *, now: datetime) -> tuple[LatestStart, ...]:
    """The latest start of each system that is sold, soonest last; empty without such a date.

    Two people are reckoned with, whoever is free. Days on which office or supplier are closed
    count neither for work nor for ordering.
    """
    if job.car_needed_by is None:
        return ()
    setting = setting_for(job, now=now)
    calendar = prepared(job.branch, now=now)
    days = SiteDays(job, now=now, holidays=calendar.staff.holidays, hours=setting.hours)
    sold = CoatingSystem.objects.of_branch(job.branch).filter(sold=True)
    found = [_of(system, setting, days, job.car_needed_by) for system in sold]
    return tuple(sorted(found, key=lambda each: each.start or now, reverse=True))


def _of(system: CoatingSystem, setting: Setting, days: SiteDays, needed: datetime) -> LatestStart:
    here = replace(setting, card=system.card, doors={}, carried={})
    last = needed.astimezone(setting.zone).date()
    for back in range(BACK_DAYS):
        day = last - timedelta(days=back)
        if day < days.today:
            break
        plan = None if days.closed(day) else _latest_on(day, here, days, needed)
        if plan is not None:
            return _said(system, plan, here, days, day)
    return LatestStart(
        system.name, None, None, "cannot be ready by then: no start is early enough."
    )


def _latest_on(day: date, setting: Setting, days: SiteDays, needed: datetime) -> Plan | None:
    """The latest start of that day after which all is done in time and the car is back."""
    start = days.first_start(day, days.opens(day), setting.rates)
    step = timedelta(minutes=days.starts.step_min)
    found: Plan | None = None
    second = days.next_open(day) if setting.card.two_days else None
    if setting.card.two_days and second is None:
        return None
    while start <= days.latest(day):
        try:
            plan = lay(
                setting,
                crew_size=PEOPLE,
                start=start,
                second_start=days.second_start(second, setting.rates) if second else None,
                door=False,
            )
        except CannotPlan:
            return found
        if not _in_time(plan, days, needed):
            return found
        found, start = plan, start + step
    return found


def _in_time(plan: Plan, days: SiteDays, needed: datetime) -> bool:
    back = plan.drive_on is not None and round_up_quarter(plan.drive_on) <= needed
    zone = days.branch.tz
    ends = all(each.end <= days.latest(each.start.astimezone(zone).date()) for each in plan.visits)
    return back and ends and plan.top_start <= plan.recoat_until


def _said(
    system: CoatingSystem, plan: Plan, setting: Setting, days: SiteDays, day: date
) -> LatestStart:
    due = min(order_dates(setting, days, day).values())
    drive_on = round_up_quarter(plan.drive_on) if plan.drive_on else None
    goods = (
        f"Order by {say_day(due)} what is not in the store."
        if due >= days.today
        else "It is too late to order: only from the store."
    )
    back = f", drive-on {say_moment(drive_on, setting.zone)}" if drive_on else ""
    return LatestStart(
        system.name,
        plan.start,
        due,
        f"begins {say_moment(plan.start, setting.zone)} at the latest{back}. {goods}",
    )
