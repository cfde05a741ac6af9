"""The week of a branch: crews, stints and weather as the picture draws them."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

import numpy as np
from astral import LocationInfo
from astral.sun import sun

from dispatch.models import Crew, CrewMembership, PromiseLevel, Stint, StoredVerdict
from dispatch.reads.forecast_age import forecast_age
from dispatch.rules.findings import Level
from dispatch.rules.pictures import CrewRow, DayColumn, OffSpan, StageBar, StintBar, WeekPicture
from jobs.models import Branch, Holiday
from jobs.models.branches import Units
from jobs.rules.clock import say_day, say_time
from weather import reads as weather
from weather.rules.exposures import Exposure
from weather.rules.hours import HOUR, Hours
from weather.rules.slab import slab_hours

DAYS = 7
WORDS = {"go": "Go", "care": "Care", "no": "No", "unknown": "Unknown"}


@dataclass(frozen=True)
class Week:
    """One week of one branch, from a Monday."""

    branch: Branch
    monday: date
    picture: WeekPicture
    age: str

    @property
    def before(self) -> date:
        return self.monday - timedelta(days=7)

    @property
    def after(self) -> date:
        return self.monday + timedelta(days=7)


def week_of(branch: Branch, *, day: date, now: datetime) -> Week:
    """The week that holds `day`, drawn from what is stored; nothing is computed for stints."""
    monday = day - timedelta(days=day.weekday())
    start = branch.at(monday, time(0))
    place = branch.depot_place
    hours = weather.hours_at(place, now=now, past_days=15, ahead_days=11)
    reader = _Reader(branch=branch, monday=monday, start=start, now=now)
    picture = WeekPicture(
        title=f"Week of {say_day(monday)}, {branch}",
        days=reader.columns(hours),
        rows=reader.rows(),
        now_h=(now - start) / HOUR if 0 <= (now - start) / HOUR < 170 else None,
        fahrenheit=branch.units == Units.US,
        twelve=branch.units == Units.US,
    )
    age = forecast_age(place, now=now, zone=branch.tz)
    return Week(branch=branch, monday=monday, picture=picture, age=age)


@dataclass(frozen=True)
class _Reader:
    branch: Branch
    monday: date
    start: datetime
    now: datetime

    def h(self, instant: datetime) -> float:
        """Elapsed hours since the week began."""
        return (instant - self.start) / HOUR

    def columns(self, hours: Hours) -> tuple[DayColumn, ...]:
        """Each day with its rain chance and the open slab's margin over dew point."""
        place = self.branch.depot_place
        slab = slab_hours(
            hours=hours,
            exposure=Exposure.OPEN,
            latitude=float(place.latitude),
            longitude=float(place.longitude),
            now=self.now,
        )
        margin = slab.mid_c - hours.dew_c
        holidays = dict(
            Holiday.objects.filter(
                branch=self.branch, day__range=(self.monday, self.monday + timedelta(days=DAYS))
            ).values_list("day", "name")
        )
        return tuple(
            self._column(self.monday + timedelta(days=n), hours, margin, holidays)
            for n in range(DAYS)
        )

    def _column(
        self,
        day: date,
        hours: Hours,
        margin: "np.ndarray[tuple[int], np.dtype[np.float64]]",
        holidays: dict[date, str],
    ) -> DayColumn:
        first = self.branch.at(day, time(0))
        last = self.branch.at(day + timedelta(days=1), time(0))
        begin, count = hours.index(first), int((last - first) / HOUR)

        def cut(series: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> tuple[float | None, ...]:
            return tuple(
                float(series[i]) if 0 <= i < len(series) and not np.isnan(series[i]) else None
                for i in range(begin, begin + count)
            )

        rise, set_ = _sun(self.branch, day)
        return DayColumn(
            label=say_day(day),
            start_h=self.h(first),
            end_h=self.h(last),
            rain_chance_pct=cut(hours.rain_chance_pct),
            margin_c=cut(margin),
            sunrise=rise,
            sunset=set_,
            holiday=holidays.get(day, ""),
            today=day == self.branch.today(self.now),
        )

    def rows(self) -> tuple[CrewRow, ...]:
        """Each crew with its people and its stints; machines stand in the stint's title."""
        end = self.branch.at(self.monday + timedelta(days=DAYS), time(0))
        stints = list(
            Stint.objects.of_branch(self.branch)
            .standing()
            .overlapping(self.start, end)
            .with_all()
            .order_by("start")
        )
        verdicts = {
            verdict.stint_id: verdict
            for verdict in StoredVerdict.objects.filter(latest=True, stint__in=stints)
        }
        people = self._people()
        # A floor of several visits has one drive-on, drawn from the last of them.
        last = {stint.booking_id: stint.pk for stint in stints}
        rows = []
        for crew in (
            Crew.objects.of_branch(self.branch).working().prefetch_related("resource__absences")
        ):
            mine = [stint for stint in stints if stint.crew_id == crew.pk]
            rows.append(
                CrewRow(
                    name=crew.name,
                    people=", ".join(people.get(crew.pk, [])) or "nobody",
                    stints=tuple(
                        self._bar(
                            each, verdicts.get(each.pk), is_last=last[each.booking_id] == each.pk
                        )
                        for each in mine
                    ),
                    off=self._unsold(mine),
                )
            )
        return tuple(rows)

    def _people(self) -> dict[int, list[str]]:
        people: dict[int, list[str]] = {}
        day = max(self.monday, self.branch.today(self.now))
        for each in (
            CrewMembership.objects.of_branch(self.branch).on(day).select_related("installer")
        ):
            people.setdefault(each.crew_id, []).append(each.installer.name.split()[0])
        return people

    def _unsold(self, stints: list[Stint]) -> tuple[OffSpan, ...]:
        """Working days without a stint, so that free time is seen as such."""
        spans = []
        for n in range(DAYS):
            day = self.monday + timedelta(days=n)
            opens = self.branch.at(day, self.branch.day_starts)
            closes = self.branch.at(day, self.branch.day_ends)
            if day.weekday() not in self.branch.weekdays or closes < self.now:
                continue
            if not any(stint.start < closes and stint.end > opens for stint in stints):
                spans.append(OffSpan(self.h(opens), self.h(closes), "free"))
        return tuple(spans)

    def _bar(self, stint: Stint, verdict: StoredVerdict | None, *, is_last: bool) -> StintBar:
        job, booking = stint.booking.job, stint.booking
        zone = job.site.tz
        done = stint.state == "done"
        level = "go" if done else (verdict.level if verdict else Level.UNKNOWN.value)
        last = verdict.last_safe_pour if verdict and not done else None
        machines = ", ".join(machine.name for machine in stint.machines.all())
        floors = ", ".join(floor.name for floor in job.floors.all())
        drive_on = booking.drive_on_at if is_last else None
        return StintBar(
            href=f"/bookings/{booking.pk}/",
            title=f"{job.customer.name}, {floors}" + (f", {machines}" if machines else ""),
            start_h=self.h(stint.start),
            end_h=self.h(stint.end),
            stages=tuple(self._stage(stage) for stage in stint.stages),
            level=level,
            level_word="Coated" if done else WORDS[level],
            firm="held" if booking.state == "held" else _firm(booking.promise),
            note=verdict.headline if verdict and not done else "",
            wet_from_h=self.h(stint.pour_at) if stint.pour_at else None,
            wet_until_h=self.h(stint.wet_until) if stint.pour_at and stint.wet_until else None,
            last_safe_pour_h=self.h(last) if last else None,
            last_safe_pour_label=say_time(last, zone) if last else "",
            drive_on_h=self.h(drive_on) if drive_on else None,
            drive_on_label=f"{drive_on.astimezone(zone):%a} {say_time(drive_on, zone)}"
            if drive_on
            else "",
        )

    def _stage(self, stage: dict[str, str]) -> StageBar:
        return StageBar(
            kind=stage["kind"],
            start_h=self.h(datetime.fromisoformat(stage["start"])),
            end_h=self.h(datetime.fromisoformat(stage["end"])),
            wait=stage["kind"] in {"set", "break"},
        )


def _firm(promise: str) -> str:
    return "confirmed" if promise == PromiseLevel.CONFIRMED else "planned"


def _sun(branch: Branch, day: date) -> tuple[float | None, float | None]:
    """Sunrise and sunset in clock hours of the branch, or nothing near the poles."""
    place = branch.depot_place
    here = LocationInfo(
        timezone=branch.zone, latitude=float(place.latitude), longitude=float(place.longitude)
    )
    try:
        times = sun(here.observer, date=day, tzinfo=branch.tz)
    except ValueError:
        return None, None
    return tuple(t.hour + t.minute / 60 for t in (times["sunrise"], times["sunset"]))  # type: ignore[return-value]
