"""What was read on a site and what stands there: for the booking's page and the crew's sheet."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from dispatch.models import HeaterStay, Machine, MachineKind
from dispatch.rules.words import Words, share
from jobs.models import Floor, Job, MoistureMethod, SiteReading
from jobs.rules.clock import say_moment, say_span
from weather.rules.moist_air import dew_point_c

SHOWN = 8
SHOWN_BACK = timedelta(days=30)
UNITS = {"percent": "%", "in_slab": "% humidity in the slab", "emission": "lb"}


@dataclass(frozen=True)
class Stay:
    """One heater that stands or will stand at the site, in a sentence."""

    pk: int
    words: str


@dataclass(frozen=True)
class OnSite:
    """Readings newest first and heaters in their order, as sentences; what can be chosen."""

    readings: tuple[str, ...]
    stays: tuple[Stay, ...]
    floors: tuple[Floor, ...]
    heaters: tuple[Machine, ...]
    methods: tuple[tuple[str, str], ...]
    degrees: str


def on_site(job: Job, *, now: datetime) -> OnSite:
    """Everything of one job's site. A fixed number of queries."""
    say = Words(zone=job.site.tz, units=job.branch.units, day=now.astimezone(job.site.tz).date())
    floors = tuple(job.floors.all())
    rows = SiteReading.objects.filter(floor__in=floors, at__gte=now - SHOWN_BACK)
    names = {floor.pk: floor.name for floor in floors} if len(floors) > 1 else {}
    stays = HeaterStay.objects.standing().filter(site_id=job.site_id, end__gt=now)
    return OnSite(
        readings=tuple(
            _reading(row, say, floor=names.get(row.floor_id, "")) for row in rows[:SHOWN]
        ),
        stays=tuple(Stay(stay.pk, _stay(stay, say)) for stay in stays.select_related("machine")),
        floors=floors,
        heaters=tuple(
            Machine.objects.of_branch(job.branch).filter(kind=MachineKind.HEATER, active=True)
        ),
        methods=tuple(MoistureMethod.choices),
        degrees="°F" if say.us else "°C",
    )


def _reading(row: SiteReading, say: Words, *, floor: str) -> str:
    """When, where, what was read, and who read it."""
    places = ", ".join(each for each in (floor, row.spot) if each)
    where = f" ({places})" if places else ""
    return f"{say_moment(row.at, say.zone)}{where}: {reading_words(row, say)}. {row.taken_by}"


def reading_words(row: SiteReading, say: Words) -> str:
    """The numbers of a reading, with what they mean for the dew point."""
    told = []
    if row.slab_c is not None:
        told.append(f"slab {say.temperature(row.slab_c)}")
    if row.air_c is not None:
        told.append(f"air {say.temperature(row.air_c)}")
    if row.humidity_pct is not None:
        told.append(f"humidity {share(row.humidity_pct)}")
    if row.slab_c is not None and row.air_c is not None and row.humidity_pct is not None:
        over_c = row.slab_c - float(dew_point_c(air_c=row.air_c, humidity_pct=row.humidity_pct))
        side = "over" if over_c >= 0 else "under"
        told.append(f"{say.difference(abs(over_c))} {side} the dew point")
    if row.moisture_method:
        told.append(_moisture(row))
    return ", ".join(told)


def _moisture(row: SiteReading) -> str:
    """The number with its method, and what the person said of the limit."""
    method = MoistureMethod(row.moisture_method).label
    said = {None: "limit not compared", True: "within the sheet's limit", False: "OVER the limit"}
    if row.moisture is None:
        return f"{method}: {'stayed dry' if row.within_limit else 'was wet below'}"
    unit = UNITS[row.moisture_method]
    return f"moisture {row.moisture:g} {unit} ({method}), {said[row.within_limit]}"


def _stay(stay: HeaterStay, say: Words) -> str:
    fumes = "" if stay.vented else ", its fumes stay in the room"
    when = say_span(stay.start, stay.end, say.zone)
    return f"{stay.machine}, {stay.power_kw:g} kW{fumes}: {when}"
