"""The customer's page: where their floor stands, in their words, always current."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from dispatch.models import (
    Booking,
    BookingState,
    CalendarEntry,
    EntryStatus,
    PromiseLevel,
    Proposal,
    StampKind,
    Stint,
)
from dispatch.reads.chain import thresholds_of
from dispatch.reads.last_word import customer_word
from dispatch.reads.readiness import Line, lines_of
from dispatch.reads.water_asks import asks_of
from dispatch.rules import customer_words as words
from dispatch.rules.forecast_age import is_unusable
from dispatch.rules.readiness import EARLY
from dispatch.rules.water_asks import Who
from jobs.models import AuditEvent
from jobs.rules.clock import say_moment, say_time
from jobs.rules.plan import StageKind
from weather.reads import newest_issue

# What a customer hears and sees of each stage.
PLAIN_STAGES = {
    StageKind.SET_UP: "We unload and set up",
    StageKind.MASK: "We mask walls and doors",
    StageKind.GRIND: "We grind the slab and mend cracks; this is loud",
    StageKind.VACUUM: "We vacuum",
    StageKind.VERTICALS: "We coat steps and walls",
    StageKind.BASE: "First coat and flake; from now on nobody steps on it",
    StageKind.SET: "It sets; we wait",
    StageKind.SCRAPE: "We scrape the loose flake off",
    StageKind.ABRADE: "We sand",
    StageKind.TOP: "Top coat",
    StageKind.BREAK: "We take a break",
    StageKind.PACK: "We pack up and close off the floor",
}


class Standing(StrEnum):
    """Where the floor stands for its owner."""

    WAITING = "waiting"
    WEEK = "week"
    DAY = "day"
    COATED = "coated"


@dataclass(frozen=True)
class Visit:
    """One day of work as the customer sees it."""

    number: int
    arrival: str
    stages: tuple[tuple[str, str, bool], ...]  # clock, words, whether it is a wait
    in_calendar: bool


@dataclass(frozen=True)
class CustomerPage:
    """Everything on the page, in words."""

    booking: Booking
    standing: Standing
    title: str
    visits: tuple[Visit, ...]
    promises: tuple[str, ...]
    to_clear: tuple[str, ...]
    water_off: tuple[str, ...]  # with clock times, so only once the day is confirmed
    weather: tuple[str, ...]
    after_care: tuple[str, ...]
    only_way_in: bool
    moved_because: str
    wish: AuditEvent | None
    may_say_no: bool
    current_at: str
    word: tuple[str, ...]  # the final word, or the weather watch
    proposal: Proposal | None  # days that wait for an answer, or have it
    answer_by: str
    ready: tuple[Line, ...]  # what must be ready, while it can be answered


def customer_page(booking: Booking, *, wish: AuditEvent | None, now: datetime) -> CustomerPage:
    """The page of a booking; no day is named before it is confirmed."""
    job, zone = booking.job, booking.job.site.tz
    exposures = job.exposures()
    stints = list(booking.stints.standing().order_by("number").prefetch_related("stamps"))
    standing = _standing(booking, stints)
    firm = standing in {Standing.DAY, Standing.COATED}
    limits = thresholds_of(booking.branch)
    proposal = _proposal(booking, stints, now=now)
    weather = dict.fromkeys(words.weather_rule(each, limits) for each in exposures)
    if standing is Standing.DAY:
        weather |= dict.fromkeys(_old_forecast(booking, now=now))
    return CustomerPage(
        booking=booking,
        standing=standing,
        title=_title(standing, stints, booking),
        visits=tuple(_visit(stint) for stint in stints) if firm else (),
        promises=words.say_promises(
            walk_on_at=booking.walk_on_at,
            drive_on_at=booking.drive_on_at,
            basis=booking.drive_on_basis,
            exposures=exposures,
            zone=zone,
        )
        if firm
        else (),
        to_clear=words.to_clear(exposures, units=str(booking.branch.units)),
        water_off=_water_off(booking, stints) if standing is Standing.DAY else (),
        weather=tuple(weather),
        after_care=words.after_care(exposures),
        only_way_in=job.site.only_way_in,
        moved_because=_why(booking),
        wish=wish,
        may_say_no=_may_say_no(booking, stints, now=now),
        current_at=say_moment(now, zone),
        word=customer_word(booking, now=now) if standing is Standing.DAY else (),
        proposal=proposal,
        answer_by=_answer_by(proposal, zone),
        ready=_ready(booking, stints, now=now) if standing is Standing.DAY else (),
    )


def _old_forecast(booking: Booking, *, now: datetime) -> tuple[str, ...]:
    """That no usable forecast is held; nothing while one is."""
    issued_at = newest_issue(booking.job.site.place_id, now=now)
    if not is_unusable(issued_at, now=now):
        return ()
    return (words.old_forecast(issued_at, booking.job.site.tz),)


def _water_off(booking: Booking, stints: list[Stint]) -> tuple[str, ...]:
    """What the customer keeps off the floor, from when until when."""
    return tuple(ask.words for ask in asks_of(booking, stints) if ask.who is Who.CUSTOMER)


def calendar_entry(booking: Booking, *, number: int) -> CalendarEntry | None:
    """The customer's entry of one visit, while its day is confirmed."""
    found: CalendarEntry | None = (
        CalendarEntry.objects.filter(
            stint__booking=booking, stint__number=number, audience="customer"
        )
        .exclude(status=EntryStatus.CANCELLED)
        .first()
    )
    return found


def _standing(booking: Booking, stints: list[Stint]) -> Standing:
    if booking.state == BookingState.CALLED_OFF or not stints:
        return Standing.WAITING
    topped = [
        stamp for stint in stints for stamp in stint.stamps.all() if stamp.kind == StampKind.TOPPED
    ]
    if booking.state == BookingState.DONE or topped:
        return Standing.COATED
    firm = booking.state == BookingState.BOOKED and booking.promise == PromiseLevel.CONFIRMED
    return Standing.DAY if firm else Standing.WEEK


def _title(standing: Standing, stints: list[Stint], booking: Booking) -> str:
    zone = booking.job.site.tz
    starts = [stint.start for stint in stints]
    if standing is Standing.WAITING:
        return "Your floor is in line"
    if standing is Standing.WEEK:
        said = words.say_weeks(starts, zone)
        return said[0].upper() + said[1:]
    if standing is Standing.DAY:
        return words.say_days(starts, zone)
    return "Your floor is coated"


def _visit(stint: Stint) -> Visit:
    zone = stint.booking.job.site.tz
    stages = []
    for stage in stint.stages:
        kind = StageKind(stage["kind"])
        at = say_time(datetime.fromisoformat(stage["start"]), zone)
        stages.append((at, PLAIN_STAGES[kind], kind.wait))
    return Visit(
        number=stint.number,
        arrival=words.arrival(stint.start, zone),
        stages=tuple(stages),
        in_calendar=calendar_entry(stint.booking, number=stint.number) is not None,
    )


def _why(booking: Booking) -> str:
    """Why it is not on, or why it moved last."""
    if booking.state == BookingState.CALLED_OFF:
        return booking.called_off_why
    event = (
        AuditEvent.objects.filter(subject="booking", subject_id=booking.pk, action="move")
        .order_by("-at", "-pk")
        .first()
    )
    return event.why if event else ""


def _answer_by(proposal: Proposal | None, zone: ZoneInfo) -> str:
    """Until when to answer; empty where nothing is asked, or somebody rings anyway."""
    if proposal is None or proposal.answer_by <= proposal.asked_at:
        return ""
    return say_moment(proposal.answer_by, zone)


def _proposal(booking: Booking, stints: list[Stint], *, now: datetime) -> Proposal | None:
    """The days that were proposed, as long as they stand and have not begun."""
    found = booking.proposals.filter(latest=True).first()
    if found is None or booking.state != BookingState.BOOKED:
        return None
    begins = [stint.start for stint in stints]
    stands = [each.isoformat() for each in begins] == found.starts
    return found if stands and begins and begins[0] > now else None


def _ready(booking: Booking, stints: list[Stint], *, now: datetime) -> tuple[Line, ...]:
    """What to answer, from two days before until the crew comes."""
    if not stints or not stints[0].start - EARLY <= now < stints[0].start:
        return ()
    return lines_of(booking)


def _may_say_no(booking: Booking, stints: list[Stint], *, now: datetime) -> bool:
    return booking.state == BookingState.BOOKED and bool(stints) and stints[0].start > now
