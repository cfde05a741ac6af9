"""What a customer is told in plain words: weeks and days, what to clear, weather, after-care."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from dispatch.rules.thresholds import Thresholds
from jobs.rules.clock import say_day, say_moment, say_time
from weather.rules.exposures import Exposure

ARRIVES_WITHIN = timedelta(hours=1)
FOR_OTHERS = "To pass on to neighbors, whoever brings parcels, and other trades:"
WITH_CARS = {Exposure.GARAGE, Exposure.APRON, Exposure.CARPORT, Exposure.OPEN}


def say_week(day: date) -> str:
    """The week a day lies in: "the week of Mon Nov 30"."""
    return f"the week of {say_day(day - timedelta(days=day.weekday()))}"


def say_weeks(starts: Sequence[datetime], zone: ZoneInfo) -> str:
    """The week, or the weeks, of the first and the last visit."""
    weeks = dict.fromkeys(say_week(start.astimezone(zone).date()) for start in starts)
    return " and ".join(weeks)


def say_days(starts: Sequence[datetime], zone: ZoneInfo) -> str:
    """The days of the visits: "Tue Dec 1" or "Tue Dec 1 and Thu Dec 3"."""
    return " and ".join(dict.fromkeys(say_day(start.astimezone(zone).date()) for start in starts))


def arrival(start: datetime, zone: ZoneInfo) -> str:
    """When the crew comes: "Tue Dec 1, between 8:00 AM and 9:00 AM"."""
    until = say_time(start + ARRIVES_WITHIN, zone)
    return f"{say_day(start.astimezone(zone).date())}, between {say_time(start, zone)} and {until}"


def has_cars(exposures: Iterable[Exposure]) -> bool:
    """Whether somebody drives on the floor."""
    return bool(WITH_CARS & set(exposures))


def use_word(exposures: Iterable[Exposure]) -> str:
    """What the last promise is called: "Drive on it", or "Full use" where nobody drives."""
    return "Drive on it" if has_cars(exposures) else "Full use, heavy things back,"


def to_clear(exposures: Iterable[Exposure], *, units: str) -> tuple[str, ...]:
    """What the customer does before the crew comes. Common practice among installers."""
    lies = set(exposures)
    height = "3 ft" if units == "us" else "1 m"
    roofed = bool(lies & {Exposure.INTERIOR, Exposure.GARAGE})
    found = ["The evening before: everything off the floor."]
    if roofed:
        found[0] = (
            f"The evening before: everything off the floor, and off the walls up to {height}."
        )
    if has_cars(lies):
        found.append(
            "By the time we come: cars out, and parked where you can leave until drive-on."
        )
    if lies - {Exposure.INTERIOR}:
        found.append(
            "From the day before: sprinklers and irrigation off, hoses away; "
            "they stay off until the evening after the last coat."
        )
    if roofed:
        found.append(
            "In the morning: heating, cooling and fans that blow into the room off, "
            "washer and other water in the room off."
        )
    found.append("All day: pets and children away from the floor; it smells until it is hard.")
    return tuple(found)


def parking(
    exposures: Iterable[Exposure],
    starts: Sequence[datetime],
    drive_on_at: datetime | None,
    zone: ZoneInfo,
) -> tuple[str, ...]:
    """From when until when cars stand elsewhere; nothing where nobody drives."""
    if not starts or not has_cars(exposures):
        return ()
    back = f"and not back before {say_moment(drive_on_at, zone)}" if drive_on_at else "until we say"
    return (f"Parking: cars out by {say_moment(min(starts), zone)}, {back}.",)


def stay_off(
    exposures: Iterable[Exposure],
    *,
    since: datetime | None,
    walk_on_at: datetime | None,
    drive_on_at: datetime | None,
    only_way_in: bool,
    zone: ZoneInfo,
) -> tuple[str, ...]:
    """Who stays off the floor from when until when; nothing while a time is not known."""
    if since is None or walk_on_at is None:
        return ()
    span = f"from {say_moment(since, zone)} until {say_moment(walk_on_at, zone)}"
    found = [f"Nobody steps on the floor {span}."]
    if drive_on_at:
        what = "Nothing on wheels" if has_cars(exposures) else "Nothing heavy"
        found.append(f"{what} before {say_moment(drive_on_at, zone)}.")
    if only_way_in:
        found.append(
            "The floor is the only way in: nobody can cross it in that time, and parcels stay "
            "outside it."
        )
    return tuple(found)


def weather_rule(exposure: Exposure, limits: Thresholds) -> str:
    """Which weather moves a floor like this, so that a changed day is no surprise."""
    if exposure.enclosed:
        return (
            "Rain does not stop us indoors. A slab that is too cold, too damp or too close to "
            "the dew point does."
        )
    if exposure.roofed:
        return (
            "A roof helps, but wind carries rain in. We do not coat when, in the hours in which "
            f"the floor is wet, rain is likely ({limits.roofed_no_pct:.0f} % or more) with wind."
        )
    return (
        "We coat only when every hour in which the floor is wet has a rain chance under "
        f"{limits.rain_no_pct:.0f} %, the slab has been dry for "
        f"{limits.dry_no_h:.0f} hours, and the wind is low. Rain later in the day does not matter."
    )


def old_forecast(issued_at: datetime | None, zone: ZoneInfo) -> str:
    """What is said of the weather while no service gives a forecast that bears a verdict."""
    held = f"The newest we hold is of {say_moment(issued_at, zone)}. " if issued_at else ""
    return (
        f"The weather services give us no new forecast at the moment. {held}"
        "Your day stands; should it move, we tell you."
    )


def after_care(exposures: Iterable[Exposure]) -> tuple[str, ...]:
    """What keeps a fresh floor whole; the crew's word and the product's sheet come first."""
    lies = set(exposures)
    found = ["First steps in socks or clean shoes; drag nothing over it."]
    if has_cars(lies):
        found.append(
            "First drive: roll in slowly, do not turn the wheels on the spot, let hot tires "
            "cool outside for the first days."
        )
    if lies - {Exposure.INTERIOR}:
        found.append("Keep sprinklers, leaves and blowers away until drive-on.")
    found.append("Water, salt and cleaners only when the floor has had a week.")
    return tuple(found)


def say_promises(
    *,
    walk_on_at: datetime | None,
    drive_on_at: datetime | None,
    basis: str,
    exposures: Iterable[Exposure],
    zone: ZoneInfo,
) -> tuple[str, ...]:
    """Walk-on and drive-on as clock times with what they rest on; unknown is said."""
    walk = f"from {say_moment(walk_on_at, zone)}" if walk_on_at else "not known yet"
    drive = f"from {say_moment(drive_on_at, zone)}" if drive_on_at else "not known yet"
    found = [f"Walk on it {walk}.", f"{use_word(exposures)} {drive}."]
    if basis:
        found.append(f"What this rests on: {basis.rstrip('.')}.")
    if drive_on_at:
        found.append("Should the slab stay colder, we tell you a later time, never an earlier one.")
    return tuple(found)
