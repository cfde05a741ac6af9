"""A floor as the office takes it in: what was typed, and everything that is wrong with it.

Fields of problems are those of `NewJob`; those of a floor are "floors.0.area_m2" and so on.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from math import isfinite, sqrt

from jobs.rules.clock import say_day
from jobs.rules.machines import AMPS, VOLTS
from jobs.rules.other_water import Water, waters
from jobs.rules.plan import Condition
from jobs.rules.units import ft2_from_m2, ft_from_m
from jobs.text import many_lines, one_line
from weather.rules.exposures import Exposure

# The smallest floor of the tables is 1 m², which is a little under 11 sq ft.
AREA_FT2 = (11, 50_000)
AREA_M2 = (1, 5_000)
LONGEST_M = 2_000
MOST_STEPS = 200
MOST_SPALLS = 1_000
MOST_FLOORS = 12
MOST_BAYS = 24
WAY_IN_M = (0.3, 12.0)
FURTHEST = timedelta(days=730)
WISHES = ("any", "prefers", "fixed")

# What may be typed at most, and what the text is called in a sentence.
TEXTS = {
    "customer_name": (120, "The name"),
    "email": (254, "The e-mail address"),
    "telephone": (40, "The telephone number"),
    "street": (160, "The street"),
    "town": (80, "The town"),
    "region": (40, "The state or region"),
    "postal_code": (16, "The postal code"),
    "latitude": (20, "The latitude"),
    "longitude": (20, "The longitude"),
    "zone": (64, "The time zone"),
    "access": (300, "The way in"),
    "power": (200, "The note on power"),
    "color": (80, "The color"),
}
NOTES_MOST = 2_000
FLOOR_NAME_MOST = 80
Problem = tuple[str, str]


@dataclass(frozen=True)
class NewFloor:
    """One surface. Lengths in m, area in m²; None where nothing readable was typed."""

    exposure: str
    area_m2: float | None
    name: str = "Floor"
    edge_m: float | None = None  # None: estimated from the area
    crack_m: float = 0.0
    stem_wall_m: float = 0.0
    steps: int = 0
    spalls: int = 0
    condition: str = Condition.BARE.value
    poured_on: date | None = None
    bays: int = 1  # sections that joints divide it into
    porous: bool = False
    other_water: tuple[str, ...] = ()  # values of `Water`

    @property
    def edge_or_estimate_m(self) -> float:
        """The edge as typed, else that of a square of the same area."""
        return 4 * sqrt(self.area_m2 or 0.0) if self.edge_m is None else self.edge_m


@dataclass(frozen=True)
class NewJob:
    """An order as it was typed. `car_needed_by` without a zone is a time at the site."""

    customer_name: str
    street: str
    system_id: int | None
    floors: tuple[NewFloor, ...]
    email: str = ""
    telephone: str = ""
    town: str = ""
    region: str = ""
    postal_code: str = ""
    latitude: str = ""
    longitude: str = ""
    zone: str = ""
    access: str = ""
    power: str = ""
    only_way_in: bool = False
    way_in_m: float | None = None  # narrowest way in, for the machines; None is not known
    volts: int | None = None
    amps: int | None = None
    day_wish: str = "any"
    wished_day: date | None = None
    impossible_days: tuple[date, ...] = ()
    car_needed_by: datetime | None = None
    can_come_soon: bool = False
    color: str = ""
    notes: str = ""

    @property
    def placed_by_hand(self) -> bool:
        """Whether somebody typed coordinates or a zone instead of trusting the postal code."""
        return bool(self.latitude or self.longitude or self.zone)


def cleaned(new: NewJob) -> NewJob:
    """The order with every text fit to be shown, mailed and put into a calendar.

    One character more than may be kept stays, so that a text which is too long is seen.
    """
    texts = {name: one_line(getattr(new, name), most=most + 1) for name, (most, _) in TEXTS.items()}
    floors = tuple(
        replace(floor, name=one_line(floor.name, most=FLOOR_NAME_MOST + 1) or "Floor")
        for floor in new.floors
    )
    return replace(
        new,
        **texts,  # type: ignore[arg-type]  # every one of TEXTS is a text of the order
        notes=many_lines(new.notes, most=NOTES_MOST + 1),
        floors=floors,
        impossible_days=tuple(sorted(set(new.impossible_days))),
    )


def problems_of(new: NewJob, *, today: date, us: bool) -> Iterator[Problem]:
    """Everything that can be seen to be wrong without a map, a clock zone or the database."""
    yield from _text_problems(new)
    if not new.floors:
        yield "floors", "An order needs at least one floor."
    if len(new.floors) > MOST_FLOORS:
        yield "floors", f"An order has {MOST_FLOORS} floors at most; enter the rest as another."
    for number, floor in enumerate(new.floors[:MOST_FLOORS]):
        for field, sentence in _floor_problems(floor, us=us):
            yield f"floors.{number}.{field}", sentence
    yield from _access_problems(new, us=us)
    yield from _day_problems(new, today=today)


def _access_problems(new: NewJob, *, us: bool) -> Iterator[Problem]:
    """Numbers for choosing the machine; left out they are not known and stop nobody."""
    low, high = WAY_IN_M
    if new.way_in_m is not None and not (isfinite(new.way_in_m) and low <= new.way_in_m <= high):
        shown = f"{ft_from_m(low):.0f} to {ft_from_m(high):.0f} ft" if us else f"{low} to {high} m"
        yield "way_in_m", f"The narrowest way in is {shown} wide."
    if new.volts is not None and not VOLTS[0] <= new.volts <= VOLTS[1]:
        yield "volts", f"An outlet has {VOLTS[0]} to {VOLTS[1]} volts, such as 120 or 240."
    if new.amps is not None and not AMPS[0] <= new.amps <= AMPS[1]:
        yield "amps", f"A fuse has {AMPS[0]} to {AMPS[1]} amps, such as 20 or 30."


def _text_problems(new: NewJob) -> Iterator[Problem]:
    for name, (most, words) in TEXTS.items():
        if len(getattr(new, name)) > most:
            yield name, f"{words} is too long; {most} characters are kept at most."
    if len(new.notes) > NOTES_MOST:
        yield "notes", f"The notes are too long; {NOTES_MOST} characters are kept at most."
    if not new.customer_name:
        yield "customer_name", "Type the customer's name."
    if not new.street:
        yield "street", "Type the street and number, so that the crew finds it."
    if not (new.email or new.telephone):
        yield "telephone", "Type a telephone number or an e-mail address; one of them is needed."
    if new.telephone and not _can_be_rung(new.telephone):
        yield "telephone", f"“{new.telephone}” is not a telephone number."


def _can_be_rung(telephone: str) -> bool:
    digits = sum(each in "0123456789" for each in telephone)
    return 7 <= digits <= 20 and all(each in "0123456789 +-()./extEXT#" for each in telephone)


def _floor_problems(floor: NewFloor, *, us: bool) -> Iterator[Problem]:
    if len(floor.name) > FLOOR_NAME_MOST:
        yield "name", f"The floor's name is too long; {FLOOR_NAME_MOST} characters are kept."
    if floor.exposure not in {each.value for each in Exposure}:
        yield "exposure", "Say how the floor lies: indoors, closed garage, open patio and so on."
    if floor.condition not in {each.value for each in Condition}:
        yield "condition", "Say what lies on the slab today: bare, a sealer or a thick coating."
    yield from _area_problems(floor.area_m2, us=us)
    lengths = (
        ("edge_m", "The edge", floor.edge_m or 0.0),
        ("crack_m", "The length of cracks", floor.crack_m),
        ("stem_wall_m", "The length of stem wall", floor.stem_wall_m),
    )
    for field, words, length_m in lengths:
        if not (isfinite(length_m) and 0 <= length_m <= LONGEST_M):
            most = f"{ft_from_m(LONGEST_M):,.0f} ft" if us else f"{LONGEST_M:,} m"
            yield field, f"{words} lies between 0 and {most}."
    if not 0 <= floor.steps <= MOST_STEPS:
        yield "steps", f"A floor has between 0 and {MOST_STEPS} steps."
    if not 0 <= floor.spalls <= MOST_SPALLS:
        yield "spalls", f"A floor has between 0 and {MOST_SPALLS:,} pits."
    if len(waters(floor.other_water)) < len(set(floor.other_water)):
        yield "other_water", f"Water reaches a floor by {', '.join(Water)}."
    if not 1 <= floor.bays <= MOST_BAYS:
        yield "bays", f"Joints divide a floor into 1 to {MOST_BAYS} bays."


def _area_problems(area_m2: float | None, *, us: bool) -> Iterator[Problem]:
    unit = "sq ft" if us else "m²"
    least, most = AREA_FT2 if us else AREA_M2
    if area_m2 is None:
        yield "area_m2", f"Type the area of the floor in {unit}."
        return
    # Rounded, since 50,000 sq ft turned into m² and back is not quite 50,000.
    area = round(ft2_from_m2(area_m2) if us else area_m2, 3) if isfinite(area_m2) else area_m2
    if not (isfinite(area) and least <= area <= most):
        yield "area_m2", f"A floor has between {least:,} and {most:,} {unit}, not {_said(area)}."


def _said(number: float) -> str:
    return f"{number:,.2f}".rstrip("0").rstrip(".") if abs(number) < 1e9 else f"{number:g}"


def _day_problems(new: NewJob, *, today: date) -> Iterator[Problem]:
    if new.day_wish not in WISHES:
        yield "day_wish", "Say how much the day matters: any day, prefers a day, or only this day."
    elif new.day_wish == "any" and new.wished_day is not None:
        yield "day_wish", "A day is given, so say whether it is preferred or the only one."
    elif new.day_wish != "any" and new.wished_day is None:
        yield "wished_day", "Type the day that the customer wants."
    if new.wished_day is not None:
        if sentence := day_problem(new.wished_day, today=today):
            yield "wished_day", sentence
        elif new.wished_day in new.impossible_days:
            said = say_day(new.wished_day)
            yield "wished_day", f"{said} is among the days that do not work; it cannot be both."
    for day in new.impossible_days:
        if sentence := day_problem(day, today=today):
            yield "impossible_days", sentence
            break


def day_problem(day: date, *, today: date) -> str | None:
    """What is wrong with a day on which work might be done, if anything."""
    said = f"{say_day(day)}, {day.year}"
    if day < today:
        return f"{said} has gone by; type today or a later day."
    if day > today + FURTHEST:
        return f"{said} is more than two years ahead; check the year."
    return None
