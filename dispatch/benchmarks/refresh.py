"""What a new forecast costs: reading the answer, keeping it, judging the floors that rest on it.

Open sites in 40 towns share places, as their postal codes do. The naive way has a place for
each site, reads its answer hour by hour, keeps a row an hour, and judges every floor at every
tick. What is asked of the network is counted by `refresh_weather --plan`.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from itertools import count
from statistics import mean
from typing import Any

from django.db import connection
from django.utils import timezone

from dispatch.benchmarks.measuring import Measured, beside, measured, spread, timed
from dispatch.benchmarks.offer_rows import Office, callers, office
from dispatch.models import Booking, BookingState, Crew, PromiseLevel, Stint
from dispatch.services.verdicts import judge_booking, judge_due, judge_open
from jobs.models import Branch
from weather import services
from weather.answers import decode
from weather.models import Place
from weather.providers import replay
from weather.providers.nws_grid import STATES, TOTALS, parse_grid
from weather.reads import latest_forecast
from weather.rehearsal import MIDDLES
from weather.rules.hours import HOUR, Hours, floor_hour
from weather.rules.intervals import interval

# A new forecast comes each hour where work is near; until then all of it must be done.
TARGETS_S = {"round_s": 3600.0}
DAYS = 8  # what the US service's grid tells
TIMES = 20
SECOND = timedelta(seconds=1)
THEIRS = {ours: theirs for ours, (theirs, _) in {**STATES, **TOTALS}.items()}


@dataclass(frozen=True)
class Size:
    """How many sites in how many towns, and how many floors are judged to measure one."""

    sites: int = 5_000
    towns: int = 40
    floors: int = 24
    seed: int = 7


def run(size: Size) -> dict[str, Any]:
    """The cost a place and a floor (ms), and of one round for all sites (s), beside the naive."""
    now = timezone.now()
    made = office(crews=size.floors, bookings=0, seed=size.seed, now=now)
    depot = made.branch.depot_place
    body = json.dumps(_grid(now)).encode()
    hours = parse_grid(decode(body), fetched_at=now)
    read = _both(partial(_read, body, now), partial(_read_by_hour, body))
    kept = _both(_keeping(depot, hours, now), _rows_by_hour(hours))
    bookings = _booked(made, size, now)
    services.keep(depot, replace(hours, issued_at=now), now=now)
    judged_ms = [timed(partial(judge_booking, each, now=now))[0] for each in bookings]
    places = min(size.sites, size.towns * MIDDLES)
    ours_s = _round_s(places, read[0], kept[0], size.sites, judged_ms)
    naive_s = _round_s(size.sites, read[1], kept[1], size.sites, judged_ms)
    return {
        "sites": size.sites,
        "places": places,
        "hours_a_forecast": len(hours),
        "read": _told(read, "layers searched again for every hour"),
        "kept": _told(kept, "a row an hour, and nothing of the past"),
        "judged": spread(judged_ms),
        "nothing_new": _told(_ticks(size.floors, now), "every floor judged at every tick"),
        "round_s": round(ours_s, 1),
        "baseline": {"what": "the same round, a place for each site", "round_s": round(naive_s, 1)},
        "ratio": round(naive_s / ours_s, 1),
        "targets_s": TARGETS_S,
        "met": {"round_s": ours_s <= TARGETS_S["round_s"]},
    }


def _round_s(
    places: int, read: Measured, kept: Measured, sites: int, judged_ms: Sequence[float]
) -> float:
    """Seconds for a new forecast at every place and a verdict for every site."""
    return (places * (read.median_ms + kept.median_ms) + sites * mean(judged_ms)) / 1000


def _ticks(floors: int, now: datetime) -> tuple[Measured, Measured]:
    """A tick of the clock without any new forecast, a floor of it; and all judged again."""
    ours, naive = (measured(partial(judge, now=now), times=3) for judge in (judge_due, judge_open))
    return _a_floor(ours, floors), _a_floor(naive, floors)


def _a_floor(tick: Measured, floors: int) -> Measured:
    return Measured([took / floors for took in tick.took_ms], round(tick.queries / floors))


def _both(ours: Any, naive: Any) -> tuple[Measured, Measured]:
    return measured(ours, times=TIMES), measured(naive, times=TIMES)


def _told(pair: tuple[Measured, Measured], naive_words: str) -> dict[str, Any]:
    return beside(ours=pair[0], naive=pair[1], naive_words=naive_words)


def _grid(now: datetime) -> dict[str, Any]:
    """An answer in the shape of the US service, with the demo's invented weather."""
    stage = replay.Stage(
        script="mild", latitude=33.5, longitude=-86.8, zone="UTC", first_day=date(2026, 1, 1)
    )
    return replay.grid(stage, start=floor_hour(now) - 6 * HOUR, count=24 * DAYS, issued_at=now)


def _read(body: bytes, now: datetime) -> Hours:
    return parse_grid(decode(body), fetched_at=now)


def _read_by_hour(body: bytes) -> list[dict[str, float]]:
    """For every hour and layer the value whose interval holds the hour, totals shared evenly."""
    properties = json.loads(body)["properties"]
    start = datetime.fromisoformat(properties["validTimes"].partition("/")[0])
    return [_one_hour(properties, start + at * HOUR) for at in range(24 * DAYS)]


def _one_hour(properties: dict[str, Any], hour: datetime) -> dict[str, float]:
    told = {}
    for ours, theirs in THEIRS.items():
        for item in properties.get(theirs, {}).get("values", []):
            begin, end = interval(item["validTime"])
            if begin <= hour < end:
                shares = (end - begin) / HOUR if ours in TOTALS else 1.0
                told[ours] = item["value"] / shares
                break
    return told


def _keeping(place: Place, hours: Hours, now: datetime) -> Any:
    """Each time a newer forecast is kept, and the hours gone by with it."""
    since, seconds = _held(place, now).issued_at or now, count(1)

    def keep() -> object:
        newer = replace(hours, issued_at=since + next(seconds) * SECOND)
        return services.keep(place, newer, now=now)

    return keep


def _held(place: Place, now: datetime) -> Hours:
    """The hours of the forecast that counts."""
    newest = latest_forecast(place, now=now)
    if newest is None:
        raise ValueError(f"{place} has no forecast")
    return newest.hours()


def _rows_by_hour(hours: Hours) -> Any:
    """A row for every hour, in a table of its own, in one transaction as a careful office would."""
    names = list(THEIRS)
    columns = ", ".join(f"{name} real" for name in names)
    marks = ", ".join(["%s"] * (len(names) + 2))
    rows: list[list[Any]] = [
        [at.isoformat(), *(float(getattr(hours, name)[i]) for name in names)]
        for i, at in enumerate(hours.starts())
    ]
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE TABLE by_hour (place integer, at text, {columns})")
        cursor.execute("CREATE INDEX by_hour_place ON by_hour (place, at)")

    def keep() -> None:
        with connection.cursor() as cursor:
            cursor.execute("BEGIN IMMEDIATE")
            cursor.execute("DELETE FROM by_hour WHERE place = 1")
            cursor.executemany(
                f"INSERT INTO by_hour VALUES ({marks})",  # noqa: S608  names of our own layers
                [[1, *row] for row in rows],
            )
            cursor.execute("COMMIT")

    return keep


def _booked(made: Office, size: Size, now: datetime) -> list[Booking]:
    """Floors booked within the week, each with a crew of its own."""
    jobs = callers(made, count=size.floors, seed=size.seed, now=now)
    for number, (job, crew) in enumerate(zip(jobs, Crew.objects.order_by("pk"), strict=False)):
        booking = Booking.objects.create(
            branch=made.branch,
            job=job,
            state=BookingState.BOOKED,
            promise=PromiseLevel.PLANNED,
            booked_at=now,
        )
        start = _morning(made.branch, now, days=1 + number % DAYS)
        Stint.objects.create(
            booking=booking, crew=crew, start=start, end=start + timedelta(hours=9)
        )
    return list(Booking.objects.filter(job__in=jobs).with_job().order_by("pk"))


def _morning(branch: Branch, now: datetime, *, days: int) -> datetime:
    return branch.at(branch.today(now) + timedelta(days=days), branch.day_starts).astimezone(UTC)
