"""Bookings, their stints and the claims that keep anybody from being in two places."""

from datetime import datetime, timedelta
from typing import Any

from django.db import models

from dispatch.models.crews import Absence, Crew, Installer, Machine
from dispatch.models.resources import Resource
from jobs.models import Branch, Job
from jobs.models.scoping import BranchScoped


class BookingState(models.TextChoices):
    """Where a booking stands."""

    HELD = "held", "Held for a caller"
    BOOKED = "booked", "Booked"
    DONE = "done", "Coated"
    CALLED_OFF = "called_off", "Called off"


OPEN_STATES = (BookingState.HELD, BookingState.BOOKED)
LONGEST_STINT = timedelta(days=3)  # no crew works longer in one stretch; `gather` refuses it


class PromiseLevel(models.TextChoices):
    """How firm the day is for the customer."""

    RANGE = "range", "Week range"
    PLANNED = "planned", "Planned day"
    CONFIRMED = "confirmed", "Confirmed day"


class BookingQuerySet(BranchScoped):
    """Bookings."""

    def open(self) -> "BookingQuerySet":
        """Bookings that still stand and are not yet done."""
        return self.filter(state__in=OPEN_STATES)

    def with_job(self) -> "BookingQuerySet":
        """What the chain reads of a booking's job, in a fixed number of queries."""
        return self.select_related(
            "branch__depot_place",
            "job__branch__depot_place",
            "job__customer",
            "job__system",
            "job__site__place",
        ).prefetch_related("job__floors__parts")

    def lapsed(self, now: datetime) -> "BookingQuerySet":
        """Holds whose time is over."""
        return self.filter(state=BookingState.HELD, held_until__lte=now)


class Booking(models.Model):
    """The promise to one job: one or more stints, a day, a walk-on and a drive-on."""

    # Its index begins with the branch.
    branch = models.ForeignKey(
        Branch, on_delete=models.PROTECT, related_name="bookings", db_index=False
    )
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="bookings")
    state = models.CharField(max_length=12, choices=BookingState.choices)
    promise = models.CharField(
        max_length=10, choices=PromiseLevel.choices, default=PromiseLevel.PLANNED
    )
    held_until = models.DateTimeField(null=True, blank=True)
    walk_on_at = models.DateTimeField(null=True, blank=True)
    drive_on_at = models.DateTimeField(null=True, blank=True)
    drive_on_basis = models.CharField(max_length=300, blank=True)
    moves = models.PositiveSmallIntegerField(default=0)
    version = models.PositiveIntegerField(default=0)
    booked_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    called_off_at = models.DateTimeField(null=True, blank=True)
    called_off_why = models.CharField(max_length=500, blank=True)

    objects = BookingQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["branch", "state"])]
        constraints = [
            models.UniqueConstraint(
                fields=["job"],
                condition=models.Q(state__in=["held", "booked"]),
                name="one_open_booking_a_job",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="held") | models.Q(held_until__isnull=False),
                name="a_hold_lapses",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job} ({self.get_state_display().lower()})"


class StintState(models.TextChoices):
    """Where a stint stands."""

    PLANNED = "planned", "Planned"
    DONE = "done", "Done"
    CALLED_OFF = "called_off", "Called off"


class StintQuerySet(BranchScoped):
    """Stints."""

    # A crew's stints are found by their start; a booking's branch is that of its crews.
    branch_path = "crew__branch"

    def standing(self) -> "StintQuerySet":
        """Stints that were not called off, of bookings that were not called off."""
        return self.exclude(state=StintState.CALLED_OFF).exclude(
            booking__state=BookingState.CALLED_OFF
        )

    def open(self) -> "StintQuerySet":
        """Stints that are still to be done."""
        return self.filter(state=StintState.PLANNED, booking__state__in=OPEN_STATES)

    def overlapping(self, start: datetime, end: datetime) -> "StintQuerySet":
        """Stints that touch [start, end); the lower bound lets an index find them."""
        return self.filter(start__lt=end, start__gt=start - LONGEST_STINT, end__gt=start)

    def with_all(self) -> "StintQuerySet":
        """What screens show of a stint, in a fixed number of queries."""
        return self.select_related(
            "crew",
            "booking__job__customer",
            "booking__job__site__place",
            "booking__job__system",
            "booking__branch",
        ).prefetch_related("machines", "installers", "booking__job__floors__parts")


class Stint(models.Model):
    """One continuous stretch of one crew on one site, [start, end), travel not included."""

    booking = models.ForeignKey(Booking, on_delete=models.PROTECT, related_name="stints")
    number = models.PositiveSmallIntegerField(default=1)
    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="stints")
    installers = models.ManyToManyField(Installer, related_name="stints", blank=True)
    machines = models.ManyToManyField(Machine, related_name="stints", blank=True)
    start = models.DateTimeField()
    end = models.DateTimeField()
    travel_before_min = models.PositiveSmallIntegerField(default=0)
    travel_after_min = models.PositiveSmallIntegerField(default=0)
    state = models.CharField(max_length=12, choices=StintState.choices, default=StintState.PLANNED)
    # The stages on the clock as they were promised, for screens that must not compute.
    stages = models.JSONField(default=list)
    # Hours of machines that are needed for a part of the stint only.
    machine_spans = models.JSONField(default=list, blank=True)
    # Hours of people who are there for a part of the stint only.
    people_spans = models.JSONField(default=list, blank=True)
    pour_at = models.DateTimeField(null=True, blank=True)
    wet_until = models.DateTimeField(null=True, blank=True)

    objects = StintQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["crew", "start"]),
            models.Index(fields=["start", "end"]),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(end__gt=models.F("start")), name="stint_ends_after_it_starts"
            ),
            models.UniqueConstraint(fields=["booking", "number"], name="one_stint_a_number"),
        ]

    def __str__(self) -> str:
        return f"{self.crew} from {self.start:%Y-%m-%d %H:%M} UTC"


class Claim(models.Model):
    """One quarter of an hour of one resource. The plain UNIQUE is the guard against twice.

    `granule` counts quarters of an hour of UTC since 1970. A claim belongs to a stint or to
    an absence, never to both.
    """

    resource = models.ForeignKey(Resource, on_delete=models.PROTECT, related_name="claims")
    granule = models.PositiveIntegerField()
    stint = models.ForeignKey(Stint, null=True, on_delete=models.CASCADE, related_name="claims")
    absence = models.ForeignKey(Absence, null=True, on_delete=models.CASCADE, related_name="claims")

    objects: Any = models.Manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["resource", "granule"], name="nobody_is_in_two_places"),
            models.CheckConstraint(
                condition=models.Q(stint__isnull=False, absence__isnull=True)
                | models.Q(stint__isnull=True, absence__isnull=False),
                name="a_claim_has_one_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.resource_id} at {self.granule}"
