"""What somebody typed after `manage.py floor_day`, as plain values or a refusal in a sentence."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime, time, timedelta
from enum import StrEnum
from typing import Any
from zoneinfo import ZoneInfo

from dispatch.management.given_day import GivenCard, read_card
from dispatch.management.refusals import Wrong
from dispatch.reads.chain import rates_of, thresholds_of
from dispatch.reads.floor_day import Asked
from dispatch.rules.thresholds import DEFAULTS, Thresholds
from jobs.models import Branch, CoatingSystem
from jobs.rules.cards import Card
from jobs.rules.catalogue import catalogue
from jobs.rules.local_times import instant_shown
from jobs.rules.machines import LARGE, SMALL, Access, fastest, rates_with
from jobs.rules.new_jobs import NewFloor, NewJob, problems_of
from jobs.rules.plan import Condition, StageKind, Work
from jobs.rules.rates import Rates
from jobs.rules.typed import read_count, read_number
from jobs.rules.units import c_from_f, m2_from_ft2, m_from_ft
from weather.rules.exposures import Exposure
from weather.rules.heaters import Heater

FURTHEST = timedelta(days=21)
LATEST_SECOND = timedelta(days=7)
LEAST_C, MOST_C = -40.0, 80.0
MOST_PEOPLE = 20
DAY_ENDS = time(18, 0)
HEATED_HOUSE_C = 7.0  # how much warmer than frosty air an attached garage stays
UNITS = ("us", "metric")
SPLITS = {"prepare": StageKind.VERTICALS, "base": StageKind.BASE}


def asked_of(options: Mapping[str, str], *, zone: ZoneInfo, now: datetime) -> Asked:
    """What is asked, for a site in `zone`. Raises Wrong, Unreadable and NoSuchTime."""
    if options["units"] not in UNITS:
        raise Wrong(f"--units is us or metric, not {options['units']!r}.")
    us = options["units"] == "us"
    branch = _branch(options["branch"])
    given = read_card(options["card"]) if options["card"] else None
    if options["split"] not in SPLITS:
        raise Wrong(f"--split is {' or '.join(SPLITS)}, not {options['split']!r}.")
    floor = _floor(options, us=us, now=now)
    start = _start(options["start"], zone=zone, now=now)
    people = read_count(options["crew"])
    if not 1 <= people <= MOST_PEOPLE:
        raise Wrong(f"A crew has 1 to {MOST_PEOPLE} people, not {people}.")
    return Asked(
        work=_work(floor),
        exposure=Exposure(floor.exposure),
        card=given.card if given else _card(options["system"], branch),
        start=start,
        crew_size=people,
        rates=_rates(options, branch, given, us=us),
        thresholds=_thresholds(branch, given),
        units=options["units"],
        reading_c=_reading(options["reading"], us=us),
        bays=read_count(options["bays"]),
        second_start=_second(options["second_start"], start=start, zone=zone),
        grinders=read_count(options["grinders"]) if options["grinders"] else None,
        garage_offset_c=branch.garage_offset_c if branch else HEATED_HOUSE_C,
        country=branch.country if branch else "US",
        subdivision=branch.subdivision if branch else "",
        heaters=_heaters(options, floor, zone=zone),
        split_after=SPLITS[options["split"]],
        dry_since=_dry_since(options["dry_since"], zone=zone, now=now),
        leave_by=_leave_by(options["leave_by"], branch, start=start, zone=zone),
        **_site_hours(options, branch),
        spare_hands=read_count(options["spare_hands"]),
    )


def _site_hours(options: Mapping[str, str], branch: Branch | None) -> dict[str, Any]:
    """When one may be on site and when one may be loud, as typed or as the branch has it."""
    found = {"opens": options["opens"], "noisy_from": options["noise_from"]}
    hours = {name: _clock(text, name) for name, text in found.items() if text}
    if branch is None:
        return hours
    own = {
        "opens": branch.early_from or branch.day_starts,
        "noisy_from": branch.quiet_until,
        "noisy_until": branch.quiet_from,
    }
    return own | hours


def _clock(text: str, name: str) -> time:
    try:
        return time.fromisoformat(text.strip())
    except ValueError:
        option = name.replace("noisy", "noise").replace("_", "-")
        raise Wrong(f"{text!r} is no time of day; give --{option} as 06:00.") from None


def _work(floor: NewFloor) -> Work:
    return Work(
        area_m2=floor.area_m2 or 0.0,
        edge_m=floor.edge_or_estimate_m,
        crack_m=floor.crack_m,
        stem_wall_m=floor.stem_wall_m,
        steps=floor.steps,
        spalls=floor.spalls,
        condition=Condition(floor.condition),
    )


def _floor(options: Mapping[str, str], *, us: bool, now: datetime) -> NewFloor:
    """The floor as the office's own form would take it; every problem in one refusal."""

    def length_m(name: str) -> float:
        number = read_number(options[name], us=us)
        return m_from_ft(number) if us else number

    area = read_number(options["area"], us=us) if options["area"] else None
    floor = NewFloor(
        exposure=options["exposure"],
        area_m2=m2_from_ft2(area) if us and area is not None else area,
        edge_m=length_m("edge") if options["edge"] else None,
        crack_m=length_m("crack"),
        stem_wall_m=length_m("stem"),
        steps=read_count(options["steps"]),
        spalls=read_count(options["spalls"]),
        condition=options["condition"],
    )
    problems = list(_problems(floor, us=us, now=now))
    if problems:
        raise Wrong(" ".join(problems))
    return floor


def _problems(floor: NewFloor, *, us: bool, now: datetime) -> Iterator[str]:
    order = NewJob(customer_name="nobody", street="nowhere", system_id=None, floors=(floor,))
    for field, sentence in problems_of(order, today=now.date(), us=us):
        if field.endswith(".exposure"):
            yield f"{sentence[:-1]}: {listed(Exposure)}."
        elif field.endswith(".condition"):
            yield f"{sentence[:-1]}: {listed(Condition)}."
        elif field.startswith("floors"):
            yield sentence


def _branch(slug: str) -> Branch | None:
    if not slug:
        return None
    branch = Branch.objects.filter(slug=slug).first()
    if branch is None:
        raise Wrong(f"There is no branch {slug!r}.")
    return branch


def _card(wanted: str, branch: Branch | None) -> Card:
    """The card of a system, by its name or its key; of a branch's own ones where it is given."""
    known: dict[str, Card] = {}
    if branch is not None:
        for sold in CoatingSystem.objects.of_branch(branch).filter(sold=True):
            known[sold.name] = sold.card
    else:
        for system in catalogue():
            known[system.key] = known[system.card.name] = system.card
    for name, card in known.items():
        if name.casefold() == wanted.strip().casefold():
            return card
    names = "; ".join(dict.fromkeys(card.name for card in known.values()))
    raise Wrong(f"There is no coating system {wanted!r}. There are: {names}.")


def _start(text: str, *, zone: ZoneInfo, now: datetime) -> datetime:
    try:
        local = datetime.fromisoformat(text.strip())
    except ValueError:
        raise Wrong(f"{text!r} is no arrival; give --start as 2026-11-27 07:00.") from None
    start = local if local.tzinfo is not None else instant_shown(local, zone).at
    if start < now:
        raise Wrong(f"{text} has gone by; give a later --start.")
    if start > now + FURTHEST:
        raise Wrong(f"{text} is more than {FURTHEST.days} days ahead, and no forecast is near it.")
    return start


def _dry_since(text: str, *, zone: ZoneInfo, now: datetime) -> datetime | None:
    """When somebody saw the slab dry; None where nobody looked."""
    if not text:
        return None
    try:
        local = datetime.fromisoformat(text.strip())
    except ValueError:
        raise Wrong(f"{text!r} is no moment; give --dry-since as 2026-11-24 09:00.") from None
    seen = local if local.tzinfo is not None else instant_shown(local, zone).at
    if seen > now:
        raise Wrong(f"Nobody can have seen that yet: {text} is still to come.")
    return seen


def _second(text: str, *, start: datetime, zone: ZoneInfo) -> datetime | None:
    """When the crew comes back to coat what it prepared; None for one visit."""
    if not text:
        return None
    try:
        local = datetime.fromisoformat(text.strip())
    except ValueError:
        raise Wrong(f"{text!r} is no second arrival; give it as 2026-11-28 07:00.") from None
    second = local if local.tzinfo is not None else instant_shown(local, zone).at
    if not start < second <= start + LATEST_SECOND:
        raise Wrong(f"A second visit comes after the first and within {LATEST_SECOND.days} days.")
    return second


def _leave_by(text: str, branch: Branch | None, *, start: datetime, zone: ZoneInfo) -> datetime:
    """When everybody must have left on the day of the arrival."""
    closes = branch.day_ends if branch else DAY_ENDS
    if text:
        try:
            closes = time.fromisoformat(text.strip())
        except ValueError:
            raise Wrong(f"{text!r} is no time of day; give --leave-by as 18:00.") from None
    local = datetime.combine(start.astimezone(zone).date(), closes.replace(tzinfo=None))
    return instant_shown(local, zone).at


def _reading(text: str, *, us: bool) -> float | None:
    """A measured slab in °C. A letter says the degrees; without one --units does."""
    if not text:
        return None
    wanted = text.strip().rstrip("°").upper()
    fahrenheit = wanted.endswith("F") or (us and not wanted.endswith("C"))
    below = wanted.startswith("-")
    number = read_number(wanted.strip("-+ °CF"), us=us) * (-1 if below else 1)
    reading_c = c_from_f(number) if fahrenheit else number
    if not LEAST_C <= reading_c <= MOST_C:
        raise Wrong(f"A slab at {text} is not to be believed; measure again.")
    return reading_c


def _thresholds(branch: Branch | None, given: GivenCard | None) -> Thresholds:
    if given is not None:
        return given.thresholds
    return thresholds_of(branch) if branch else DEFAULTS


def _rates(
    options: Mapping[str, str], branch: Branch | None, given: GivenCard | None, *, us: bool
) -> Rates:
    """The rates handed in, or the branch's; where way in or power are told, of that grinder."""
    rates = given.rates if given else rates_of(branch) if branch else Rates()
    if not any(options[name] for name in ("way_in", "volts", "amps")):
        return rates
    width = read_number(options["way_in"], us=us) if options["way_in"] else None
    access = Access(
        width_m=m_from_ft(width) if us and width is not None else width,
        volts=read_count(options["volts"]) if options["volts"] else None,
        amps=read_count(options["amps"]) if options["amps"] else None,
    )
    return rates_with(rates, fastest((SMALL, LARGE), access))


def _heaters(options: Mapping[str, str], floor: NewFloor, *, zone: ZoneInfo) -> tuple[Heater, ...]:
    """Equipment that stands in the room before or after the crew, where any is named."""
    if not options["heat_kw"]:
        return ()
    if Exposure(floor.exposure) not in {Exposure.GARAGE, Exposure.INTERIOR}:
        raise Wrong("A heater needs a room: only a garage or a floor indoors can be heated.")
    times = []
    for name in ("heat_from", "heat_until"):
        try:
            local = datetime.fromisoformat(options[name].strip())
        except ValueError:
            raise Wrong(
                "Say when the heater stands there: --heat-from and --heat-until, as "
                "2026-11-26 18:00."
            ) from None
        times.append(local if local.tzinfo else instant_shown(local, zone).at)
    try:
        heater = Heater(
            power_kw=read_number(options["heat_kw"], us=True),
            floor_m2=floor.area_m2 or 0.0,
            start=times[0],
            end=times[1],
            vented=not options["heat_unvented"],
        )
    except ValueError as refusal:
        told = str(refusal)
        raise Wrong(f"{told[:1].upper()}{told[1:]}.") from refusal
    return (heater,)


def listed(words: Iterable[StrEnum]) -> str:
    """The words that may be typed."""
    return ", ".join(each.value for each in words)
