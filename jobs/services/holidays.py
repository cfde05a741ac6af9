"""Days on which a branch does not work: public ones from its opening on, and its own."""

from datetime import date, datetime

from django.db.models import F

from jobs import audit
from jobs.access import Actor
from jobs.models import Branch, Holiday
from jobs.refusals import NotFound, Refusal
from jobs.rules.clock import say_day
from jobs.text import one_line
from jobs.writing import run_write

MOST_DAYS_ON = 731


@run_write
def add_holiday(*, branch: Branch, day: date, name: str, by: Actor, now: datetime) -> Holiday:
    """A day without work. Floors that are booked on it stay booked until somebody moves them."""
    name = one_line(name, most=80)
    if not name:
        raise Refusal("Please name the day, such as Company outing.", field="name")
    if not 0 <= (day - branch.today(now)).days <= MOST_DAYS_ON:
        raise Refusal("A day off lies between today and two years from now.", field="day")
    if Holiday.objects.filter(branch=branch, day=day).exists():
        raise Refusal(f"{say_day(day)} is a day off already.", field="day")
    holiday = Holiday.objects.create(branch=branch, day=day, name=name)
    _note(branch, holiday.pk, by=by, now=now, action="add", said={"day": str(day), "name": name})
    return holiday


@run_write
def work_on(*, branch: Branch, holiday_id: int, by: Actor, now: datetime) -> Holiday:
    """The branch works on that day after all."""
    holiday = Holiday.objects.filter(branch=branch, pk=holiday_id).first()
    if holiday is None:
        raise NotFound("There is no such day off in this branch.")
    said = {"day": str(holiday.day), "name": holiday.name}
    _note(branch, holiday.pk, by=by, now=now, action="remove", said=said)
    holiday.delete()
    return holiday


def _note(
    branch: Branch,
    holiday_id: int,
    *,
    by: Actor,
    now: datetime,
    action: str,
    said: dict[str, str],
) -> None:
    """Audit, and the calendar's version: prepared offers are out of date now."""
    Branch.objects.filter(pk=branch.pk).update(calendar_version=F("calendar_version") + 1)
    audit.record(
        branch=branch,
        by=by,
        subject="holiday",
        subject_id=holiday_id,
        action=action,
        now=now,
        after=said,
    )
