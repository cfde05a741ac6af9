"""Tables of the weather: places, the forecasts held for them, and how the services behave.

A forecast is one row with its hours as arrays in which null means unknown. Nothing here
knows of floors or bookings; upper apps point at `Place` and at the `Forecast` they used.
"""

import zlib
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any, Self

import numpy as np
from django.db import models
from django.db.models import Q

from weather.rules.hours import LAYERS, Hours, Members

Layers = Mapping[str, Sequence[float | None]]
MOST_MM = 500.0  # in an hour; more has never been measured


def layers_of(hours: Hours) -> dict[str, list[float | None]]:
    """The layers of `hours` as lists fit for JSON: null where unknown, else 3 decimals."""
    kept: dict[str, list[float | None]] = {}
    for name in (*LAYERS, "chance_window_h"):
        values = np.asarray(getattr(hours, name), dtype=float)
        kept[name] = [None if np.isnan(v) else round(float(v), 3) for v in values]
    kept["chance_derived"] = [float(flag) for flag in hours.chance_derived]
    if hours.chance_written_pct is not None:
        kept["chance_written_pct"] = [
            None if np.isnan(v) else float(v) for v in hours.chance_written_pct
        ]
    return kept


def hours_of(layers: Layers, *, start: datetime, count: int, **stamps: Any) -> Hours:
    """The inverse of `layers_of`; a layer that is absent is unknown throughout."""
    nothing: list[float | None] = [None] * count
    arrays: dict[str, Any] = {
        name: np.array(layers.get(name, nothing), dtype=float)
        for name in (*LAYERS, "chance_window_h")
    }
    windows = arrays.pop("chance_window_h")
    derived = np.array(layers.get("chance_derived", [0.0] * count), dtype=float) > 0
    written = layers.get("chance_written_pct")
    return Hours(
        start=start,
        **arrays,
        chance_written_pct=None if written is None else np.array(written, dtype=float),
        chance_window_h=np.where(np.isnan(windows), 1.0, windows),
        chance_derived=derived,
        **stamps,
    )


def packed_members(members_mm: Members | None) -> bytes | None:
    """Rain of each member by the hour in little room: thousandths of mm, -1 where unknown."""
    if members_mm is None:
        return None
    thousandths = np.where(np.isnan(members_mm), -1, np.clip(members_mm, 0, MOST_MM) * 1000)
    return zlib.compress(np.rint(thousandths).astype("<i4").tobytes())


def unpacked_members(packed: "bytes | memoryview[int] | None", *, count: int) -> Members | None:
    """The inverse of `packed_members`, for `count` hours."""
    if not packed:
        return None
    thousandths = np.frombuffer(zlib.decompress(bytes(packed)), dtype="<i4").reshape(-1, count)
    return np.where(thousandths < 0, np.nan, thousandths / 1000.0)


class Place(models.Model):
    """A spot whose weather is asked for; sites within 2.5 km and 50 m of height share one.

    Three decimals (about 110 m) are as fine as any forecast, keep a customer's door out of
    the requests, and keep MET Norway from refusing: it answers 403 to five decimals.
    """

    name = models.CharField(max_length=120, blank=True)
    latitude = models.DecimalField(max_digits=6, decimal_places=3)
    longitude = models.DecimalField(max_digits=6, decimal_places=3)
    elevation_m = models.FloatField(null=True, blank=True)
    zone = models.CharField(max_length=64, help_text="IANA name, as America/Chicago")
    # "BMX/59,84" once /points has answered; empty with a time: not a place of that service.
    nws_grid = models.CharField(max_length=40, blank=True)
    nws_resolved_at = models.DateTimeField(null=True, blank=True)
    replay_script = models.CharField(
        max_length=40, blank=True, help_text="Which invented weather a demo plays here"
    )
    replay_first_day = models.DateField(null=True, blank=True)
    # Days up to here are counted in the place's `MonthRecord`s.
    tallied_until = models.DateField(null=True, blank=True)
    # The last time a service said anything usable, even "nothing new".
    checked_at = models.DateTimeField(null=True, blank=True)
    # Who refreshes this place holds it until then; a dead worker's lease lapses.
    leased_until = models.DateTimeField(null=True, blank=True)
    try_not_before = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["latitude", "longitude"], name="place_once"),
            models.CheckConstraint(
                condition=Q(latitude__gte=-90, latitude__lte=90), name="place_latitude_on_earth"
            ),
            models.CheckConstraint(
                condition=Q(longitude__gte=-180, longitude__lte=180),
                name="place_longitude_on_earth",
            ),
        ]

    def __str__(self) -> str:
        return self.name or f"{self.latitude}, {self.longitude}"


class ForecastQuerySet(models.QuerySet["Forecast"]):
    """Finding the forecast that counts."""

    def counting(self) -> Self:
        """Without the second opinions, which are kept for comparison only."""
        return self.filter(second=False)

    def newest_first(self) -> Self:
        """By issue time, not by fetch time: a cache may hand out an old one late."""
        return self.order_by("-issued_at", "-fetched_at", "-pk")


class Forecast(models.Model):
    """What one service said for one place at one issue, never changed afterwards."""

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="forecasts")
    source = models.CharField(max_length=20)
    issued_at = models.DateTimeField()
    fetched_at = models.DateTimeField()
    start = models.DateTimeField(help_text="First hour, a whole hour in UTC")
    count = models.PositiveSmallIntegerField()
    layers = models.JSONField()
    notes = models.JSONField(default=list, blank=True)
    # Asked for comparison only: it never counts as what is known of the place.
    second = models.BooleanField(default=False)
    # Rain of each member of an ensemble for the same hours, packed by `packed_members`.
    members = models.BinaryField(null=True, blank=True)
    # By how much the service's clock was ahead of ours; 0 while they agree within minutes.
    clock_ahead_s = models.FloatField(default=0.0)

    objects = ForecastQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["place", "source", "issued_at"], name="forecast_once_per_issue"
            ),
        ]
        indexes = [
            models.Index(fields=["place", "-issued_at"], name="forecast_newest"),
        ]

    def __str__(self) -> str:
        return f"{self.source} of {self.issued_at:%Y-%m-%d %H:%M} UTC for {self.place}"

    def hours(self) -> Hours:
        """The stored hours, with their source and times."""
        return hours_of(
            self.layers,
            start=self.start,
            count=self.count,
            source=self.source,
            issued_at=self.issued_by_our_clock,
            fetched_at=self.fetched_at,
            notes=tuple(self.notes),
            members_mm=unpacked_members(self.members, count=self.count),
        )

    @property
    def issued_by_our_clock(self) -> datetime:
        """When it was issued, so that its age is never less than its service would say."""
        return self.issued_at - timedelta(seconds=max(0.0, self.clock_ahead_s))


class PastDay(models.Model):
    """Hours of one UTC day that have gone by at a place; slabs remember them for weeks.

    `origins` says for each hour where the values are from: a source's name for the first
    hours of a forecast, "station" for measured ones, empty where nothing is known.
    """

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="past_days")
    day = models.DateField()
    layers = models.JSONField()
    origins = models.JSONField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["place", "day"], name="past_day_once"),
        ]

    def __str__(self) -> str:
        return f"{self.place} on {self.day}"

    @property
    def start(self) -> datetime:
        """The first hour of the day."""
        return day_start(self.day)

    def hours(self) -> Hours:
        """The 24 hours of the day."""
        return hours_of(self.layers, start=self.start, count=24, source="past")


class MonthRecord(models.Model):
    """How many days, half days, quarter days and hours of a month were known here, and wet.

    All Januaries together: the place's own climate, as far as it has been watched.
    """

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="month_records")
    month = models.PositiveSmallIntegerField()
    days = models.PositiveIntegerField(default=0)
    wet_days = models.PositiveIntegerField(default=0)
    halves = models.PositiveIntegerField(default=0)
    wet_halves = models.PositiveIntegerField(default=0)
    quarters = models.PositiveIntegerField(default=0)
    wet_quarters = models.PositiveIntegerField(default=0)
    hours = models.PositiveIntegerField(default=0)
    wet_hours = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["place", "month"], name="month_record_once"),
            models.CheckConstraint(
                condition=Q(month__gte=1, month__lte=12), name="month_of_the_year"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.place}, month {self.month}: {self.wet_days} wet of {self.days} days"


def day_start(day: date) -> datetime:
    """Midnight UTC at which `day` begins."""
    return datetime.fromisoformat(f"{day.isoformat()}T00:00:00+00:00")


class ServiceState(models.Model):
    """How a forecast service has behaved lately, for all places together."""

    service = models.CharField(max_length=20, unique=True)
    not_before = models.DateTimeField(null=True, blank=True)
    failures = models.PositiveIntegerField(default=0)
    budget_hour = models.DateTimeField(null=True, blank=True)
    budget_used = models.PositiveIntegerField(default=0)
    answered_at = models.DateTimeField(null=True, blank=True)
    trouble = models.CharField(max_length=300, blank=True)
    warning = models.CharField(max_length=300, blank=True)
    # By how much its clock was ahead of ours at its last answer; None while nothing is known.
    clock_ahead_s = models.FloatField(null=True, blank=True)

    def __str__(self) -> str:
        return self.service


class HostTurn(models.Model):
    """From when on a host may be asked again, by any process: services ask for a quiet pace."""

    host = models.CharField(max_length=260, unique=True)
    free_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.host


class Chore(models.Model):
    """When a piece of housekeeping was last begun, so that many processes do it once."""

    name = models.CharField(max_length=40, unique=True)
    begun_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name

    @classmethod
    def claim(cls, name: str, *, every: timedelta, now: datetime) -> bool:
        """Whether the caller shall do it now: true once in `every`, by one conditional update."""
        cls.objects.get_or_create(name=name)
        due = Q(begun_at__isnull=True) | Q(begun_at__lte=now - every)
        return bool(cls.objects.filter(due, name=name).update(begun_at=now))


class PlaceServiceState(models.Model):
    """How a service behaves for one place, and what it told us to send back next time.

    The United States service is known to fail for one grid cell for days while its
    neighbours answer, so a run of errors must not silence the service elsewhere.
    """

    place = models.ForeignKey(Place, on_delete=models.CASCADE, related_name="service_states")
    service = models.CharField(max_length=20)
    not_before = models.DateTimeField(null=True, blank=True)
    failures = models.PositiveIntegerField(default=0)
    expires_at = models.DateTimeField(null=True, blank=True)
    last_modified = models.CharField(max_length=60, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    trouble = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["place", "service"], name="place_service_once"),
        ]

    def __str__(self) -> str:
        return f"{self.service} for {self.place}"


PAST_KEPT = timedelta(days=40)
