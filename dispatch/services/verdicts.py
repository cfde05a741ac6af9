"""Verdicts on open stints: worked out on each new forecast, kept with what they rest on."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

from dispatch.models import (
    OPEN_STATES,
    Booking,
    BookingState,
    PromiseLevel,
    Stamp,
    StampKind,
    Stint,
    StoredVerdict,
)
from dispatch.reads.booked import booked_as, booked_setting
from dispatch.reads.chain import (
    Setting,
    beyond_forecast,
    cold_side,
    lay,
    setting_for,
    verdict_on,
)
from dispatch.reads.measuring import measures_on, site_days, situation_of, times_of
from dispatch.rules.asking import Promised
from dispatch.rules.firmness import Firmness
from dispatch.rules.measures.situation import Outcome
from dispatch.rules.verdicts import Verdict
from dispatch.services import bookings, watching
from jobs.models.branches import Units
from jobs.refusals import Refusal
from jobs.rules.clock import round_up_quarter, say_moment
from jobs.rules.plan import Plan
from jobs.rules.promises import drive_on
from jobs.rules.refusals import CannotPlan
from jobs.rules.units import f_from_c
from jobs.writing import run_write
from weather.rules.hours import SlabHours

WATCH_AHEAD = timedelta(days=11)
REJUDGE_AFTER = timedelta(hours=1)
# Measures are looked for where somebody will soon decide: they cost as much as an offer.
MEASURED_AHEAD = timedelta(days=4)
# What a closed garage with a heater is kept above: common practice.
KEPT_WARM_C = 10.0


def judge_open(*, now: datetime) -> int:
    """Judge every open booking that a forecast can reach; return how many. Safe to repeat."""
    judged = 0
    for booking in _open(now):
        if judge_booking(booking, now=now) is not None:
            judged += 1
    return judged


def judge_due(*, now: datetime) -> int:
    """Judge the open bookings whose newest forecast has not been judged yet, or an hour ago."""
    judged = 0
    for booking in _open(now):
        stint = booking.stints.standing().order_by("number").first()
        latest = stint.verdicts.filter(latest=True).first() if stint else None
        held = booking.job.site.place.forecasts.counting().newest_first()
        newest = held.values_list("pk", flat=True).first()  # without its hours
        fresh = latest is not None and now - latest.made_at < REJUDGE_AFTER
        if fresh and latest is not None and latest.forecast_id == newest:
            continue
        judged += judge_booking(booking, now=now) is not None
    return judged


def judge_booking(booking: Booking, *, now: datetime) -> Verdict | None:
    """One verdict for all stints of a booking, kept; None where its plan cannot be laid out.

    A promise of drive-on that the forecast no longer bears is moved later at once.
    """
    stints = list(booking.stints.standing().order_by("number").select_related("crew"))
    if not stints:
        return None
    setting = booked_setting(booking.job, stints, now=now)
    try:
        plan = replan(setting, stints)
    except CannotPlan as refusal:
        _tell(booking, stints, _unplanned(str(refusal)), setting=setting)
        return None
    verdict = _verdict(booking, setting, plan)
    _tell(booking, stints, _fields(verdict), setting=setting, outcome=Outcome(plan, verdict))
    _hold_promise(booking, setting, plan)
    forecast = setting.forecast.pk if setting.forecast else None
    watching.follow(booking, stints[0], level=verdict.level, forecast=forecast, now=now)
    return verdict


def _verdict(booking: Booking, setting: Setting, plan: Plan) -> Verdict:
    """The verdict within the hours of the site on the day of the pour."""
    times = times_of(booking.job, site_days(booking.job, now=setting.now, setting=setting))
    day = times.day(plan.pour)
    return verdict_on(
        setting,
        plan,
        day_start=times.opens(day),
        day_end=times.closes(day),
        day_end_words=times.closes_words,
    )


def _tell(
    booking: Booking,
    stints: Sequence[Stint],
    fields: dict[str, Any],
    *,
    setting: Setting,
    outcome: Outcome | None = None,
) -> None:
    """Keep what is said of every stint, with what can be done about it once that is near."""
    forecast_id = setting.forecast.pk if setting.forecast else None
    if all(_said(stint, fields, forecast_id=forecast_id) for stint in stints):
        return
    if setting.now < stints[0].start <= setting.now + MEASURED_AHEAD:
        situation = situation_of(booking, stints, setting=setting)
        fields = {**fields, "measures": measures_on(situation, outcome)}
    _keep(stints=stints, fields=fields, setting=setting)


def _said(stint: Stint, fields: Mapping[str, Any], *, forecast_id: int | None) -> bool:
    """Whether the last verdict said the same on this forecast."""
    latest = stint.verdicts.filter(latest=True).first()
    if latest is None or latest.forecast_id != forecast_id:
        return False
    return bool(latest.headline == fields["headline"] and latest.level == fields["level"])


def watch_coated(*, now: datetime) -> int:
    """Move the drive-on of coated floors later where the nights turn colder; return how many.

    Counted from the top coat as it was stamped, on the cold side of the slab.
    """
    moved = 0
    coated = Booking.objects.filter(state=BookingState.DONE, drive_on_at__gt=now)
    for booking in coated.with_job():
        topped = Stamp.objects.filter(stint__booking=booking, kind=StampKind.TOPPED).first()
        if topped is None:
            continue
        setting = setting_for(booking.job, now=now)
        cold = cold_side(setting, setting.coldest(topped.at + timedelta(days=12)))
        cars = drive_on(card=setting.card, top_end=topped.at, cold=cold, grains=None)
        if cars.at is not None and cars.at <= setting.known_until:
            heat = _with_heat(setting, cold, topped_at=topped.at, colder=cars.at)
            moved += _later(
                booking, now=now, walk_on=None, cars_at=cars.at, basis=cars.basis, heat=heat
            )
    return moved


def _with_heat(setting: Setting, cold: SlabHours, *, topped_at: datetime, colder: datetime) -> str:
    """The second date, where a room that is kept warm from now on has one; else nothing."""
    if not all(ground.exposure.enclosed for ground in setting.grounds):
        return ""
    warm = cold.kept_above(KEPT_WARM_C, since=setting.now)
    cars = drive_on(card=setting.card, top_end=topped_at, cold=warm, grains=None)
    if cars.at is None or cars.at >= colder:
        return ""
    us = setting.job.branch.units == Units.US
    kept = f"{f_from_c(KEPT_WARM_C):.0f} °F" if us else f"{KEPT_WARM_C:.0f} °C"
    at = say_moment(round_up_quarter(cars.at), setting.job.site.tz)
    return f" With the room kept above {kept} from now on it could be {at}; ring us about heat."


def replan(setting: Setting, stints: Sequence[Stint]) -> Plan:
    """The plan of a booking as it stands, on today's forecast. Raises CannotPlan."""
    booked = booked_as(stints)
    return lay(
        setting,
        crew_size=booked.crew_size,
        start=booked.start,
        second_start=booked.second_start,
        split_after=booked.split_after,
        bays=booked.bays,
        grinders=booked.grinders,
    )


def _open(now: datetime) -> list[Booking]:
    return list(
        Booking.objects.filter(
            state__in=OPEN_STATES,
            stints__start__lt=now + WATCH_AHEAD,
            stints__end__gt=now,
        )
        .distinct()
        .with_job()
        .order_by("pk")
    )


def _fields(verdict: Verdict) -> dict[str, Any]:
    return {
        "level": verdict.level.value,
        "headline": verdict.headline[:400],
        "checks": [
            {**asdict(check), "at": check.at.isoformat() if check.at else None}
            for check in verdict.checks
        ],
        "ways_out": list(verdict.ways_out),
        "wet_hours": [each.sentence for each in (verdict.wet_hours,) if each],
        "wet_from": verdict.wet_from,
        "wet_until": verdict.wet_until,
        "last_safe_pour": verdict.last_safe_pour,
        "binds": verdict.binds[:160],
        "slack_min": verdict.slack_min,
        "firmness": verdict.firmness[:80],
    }


def _unplanned(why: str) -> dict[str, Any]:
    return {"level": "unknown", "headline": why[:400], "checks": [], "ways_out": []}


@run_write
def _keep(*, stints: Sequence[Stint], fields: dict[str, Any], setting: Setting) -> None:
    """Store the verdict for every stint, unless the last one said the same on this forecast."""
    forecast = setting.forecast
    for stint in stints:
        if _said(stint, fields, forecast_id=forecast.pk if forecast else None):
            continue
        stint.verdicts.filter(latest=True).update(latest=False)
        StoredVerdict.objects.create(
            stint=stint, forecast=forecast, made_at=setting.now, latest=True, **fields
        )


def _hold_promise(booking: Booking, setting: Setting, plan: Plan) -> None:
    """Move a confirmed drive-on later when the night turns colder; never earlier by itself."""
    if booking.promise != PromiseLevel.CONFIRMED or plan.drive_on is None:
        return
    if beyond_forecast(setting, plan):
        return
    _later(
        booking,
        now=setting.now,
        walk_on=plan.walk_on,
        cars_at=plan.drive_on,
        basis=plan.drive_on_basis,
    )


def _later(
    booking: Booking,
    *,
    now: datetime,
    walk_on: datetime | None,
    cars_at: datetime,
    basis: str,
    heat: str = "",
) -> bool:
    """Promise walk-on and drive-on later if they are; whether that was so."""
    promised_at = round_up_quarter(cars_at)
    if booking.drive_on_at is not None and promised_at <= booking.drive_on_at:
        return False
    zone = booking.job.site.tz
    try:
        bookings.promise_later(
            branch=booking.branch,
            booking_id=booking.pk,
            version=booking.version,
            promised=Promised(
                level=Firmness.CONFIRMED,
                walk_on_at=round_up_quarter(walk_on) if walk_on else None,
                drive_on_at=promised_at,
                drive_on_basis=basis,
            ),
            now=now,
            why=f"It is colder than planned, so drive-on is {say_moment(promised_at, zone)}.{heat}",
        )
    except Refusal:
        return False  # somebody changed the booking meanwhile; the next round looks again
    return True
