"""A reading as somebody typed it, on the office's page or on the crew's phone."""

from collections.abc import Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

from jobs.refusals import Invalid
from jobs.rules.local_times import NoSuchTime, instant_shown
from jobs.rules.site_readings import NewReading
from jobs.rules.typed import Unreadable, read_number
from jobs.rules.units import c_from_f

WITHIN = {"": None, "yes": True, "no": False}


def typed_reading(
    data: Mapping[str, str], *, us: bool, zone: ZoneInfo, now: datetime
) -> tuple[int, NewReading]:
    """The floor it is of and what was read. Raises Invalid for what cannot even be read.

    Temperatures are in the branch's units; a moment left empty is now.
    """
    problems: dict[str, str] = {}

    def number(name: str, *, degrees: bool = False) -> float | None:
        text = data.get(name, "").strip().replace("−", "-")
        if not text:
            return None
        try:
            value = read_number(text, us=us)
        except Unreadable as trouble:
            problems[name] = str(trouble)
            return None
        return c_from_f(value) if degrees and us else value

    def moment() -> datetime:
        text = data.get("at", "").strip()
        if not text:
            return now
        try:
            return moment_at(text, zone)
        except Invalid as refusal:
            problems.update(refusal.problems)
            return now

    floor = data.get("floor", "")
    within = data.get("within_limit", "")
    if within not in WITHIN:
        problems["within_limit"] = "Say yes, no, or nothing of the limit."
    new = NewReading(
        at=moment(),
        spot=data.get("spot", ""),
        slab_c=number("slab", degrees=True),
        air_c=number("air", degrees=True),
        humidity_pct=number("humidity"),
        moisture=number("moisture"),
        moisture_method=data.get("moisture_method", ""),
        within_limit=WITHIN.get(within),
    )
    if problems:
        raise Invalid(problems)
    return int(floor) if floor.isascii() and floor.isdecimal() and len(floor) < 10 else 0, new


def moment_at(typed: str, zone: ZoneInfo) -> datetime:
    """A day and time as clocks at the site show them. Raises Invalid with a sentence."""
    try:
        local = datetime.fromisoformat(typed.strip())
    except ValueError:
        local = None
    if local is None or local.tzinfo is not None or not 2000 <= local.year <= 2100:
        raise Invalid({"at": f"{typed[:40]!r} is no day and time such as 2026-06-18T07:30."})
    try:
        return instant_shown(local, zone).at
    except NoSuchTime as gone:
        raise Invalid({"at": str(gone)}) from None
