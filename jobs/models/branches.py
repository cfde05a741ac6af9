"""Branches and the people who work in them."""

from datetime import UTC, date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.models import AbstractUser
from django.core.exceptions import ValidationError
from django.db import models

from weather.models import Place


class Role(models.TextChoices):
    """What somebody may do in a branch, from most to least."""

    OWNER = "owner", "Owner"
    OFFICE = "office", "Office"
    LEAD = "lead", "Crew lead"
    INSTALLER = "installer", "Installer"
    READER = "reader", "Read only"


class Units(models.TextChoices):
    """How lengths, areas and temperatures are shown; inside, everything is metric."""

    US = "us", "Feet, square feet, °F"
    METRIC = "metric", "Metres, square metres, °C"


def weekdays_default() -> list[int]:
    """Monday to Friday, as ISO weekdays minus one."""
    return [0, 1, 2, 3, 4]


def check_zone(name: str) -> None:
    """Refuse a time zone that the zone database does not know."""
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise ValidationError(f"{name!r} is not a time zone such as America/Chicago.") from None


class User(AbstractUser):
    """Somebody who signs in. Roles come from memberships, never from Django's groups."""


class Branch(models.Model):
    """An office with its depot, time zone, hours, rates and thresholds."""

    name = models.CharField(max_length=80)
    slug = models.SlugField(unique=True)
    company = models.CharField(max_length=120)
    zone = models.CharField(max_length=64, validators=[check_zone])
    units = models.CharField(max_length=8, choices=Units.choices, default=Units.US)
    country = models.CharField(max_length=2, default="US")
    subdivision = models.CharField(max_length=8, blank=True)
    depot = models.CharField(max_length=200)
    depot_place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="branches")
    telephone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    day_starts = models.TimeField(default=time(7, 0))
    day_ends = models.TimeField(default=time(18, 0))
    weekdays = models.JSONField(default=weekdays_default)
    quiet_until = models.TimeField(default=time(7, 0))
    # Noise must end then; and where the usual start does not do, a crew may be there this
    # early and set up quietly.
    quiet_from = models.TimeField(default=time(19, 0))
    early_from = models.TimeField(null=True, blank=True)
    # The evening before, on every evening before a day with work, and the look the next morning.
    final_call_at = models.TimeField(default=time(17, 30))
    morning_check_at = models.TimeField(default=time(5, 30))
    # Settings that override the defaults of the rules; keys are the rules' own names.
    rates = models.JSONField(default=dict, blank=True)
    thresholds = models.JSONField(default=dict, blank=True)
    costs = models.JSONField(default=dict, blank=True)
    # Wet days in a hundred by month ("12": 35), for days that no forecast reaches.
    wet_months = models.JSONField(default=dict, blank=True)
    # When crews may begin: overrides the defaults of `jobs.rules.day_hours.Starts`.
    starts = models.JSONField(default=dict, blank=True)
    garage_offset_c = models.FloatField(default=7.0)
    # Rises with every write to the branch's calendar, so that prepared answers know their age.
    calendar_version = models.PositiveBigIntegerField(default=0)

    class Meta:
        verbose_name_plural = "branches"
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def tz(self) -> ZoneInfo:
        """The branch's time zone."""
        return ZoneInfo(self.zone)

    def at(self, day: date, clock: time) -> datetime:
        """The instant (UTC) at which the branch's clocks show `clock` on `day`."""
        return datetime.combine(day, clock, tzinfo=self.tz).astimezone(UTC)

    def today(self, now: datetime) -> date:
        """The branch's date at `now`."""
        return now.astimezone(self.tz).date()


class MembershipQuerySet(models.QuerySet["Membership"]):
    """Who belongs where."""

    def of(self, user: Any) -> "MembershipQuerySet":
        """Memberships of a signed-in, active user; none for anybody else."""
        if not getattr(user, "is_authenticated", False) or not user.is_active:
            return self.none()
        return self.filter(user=user)


class FinalCallDuty(models.TextChoices):
    """Who takes the final call of a branch, and who stands in."""

    NONE = "", "None"
    OWNER = "owner", "Takes the final call"
    DEPUTY = "deputy", "Stands in"


class Membership(models.Model):
    """One person's role in one branch."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    branch = models.ForeignKey(Branch, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=12, choices=Role.choices)
    final_call = models.CharField(
        max_length=8, choices=FinalCallDuty.choices, default=FinalCallDuty.NONE, blank=True
    )

    objects = MembershipQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "branch"], name="one_role_a_branch"),
            models.UniqueConstraint(
                fields=["branch", "final_call"],
                condition=~models.Q(final_call=""),
                name="one_person_a_duty",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user} is {self.get_role_display().lower()} of {self.branch}"


class Holiday(models.Model):
    """A day on which the branch does not work, or may not."""

    branch = models.ForeignKey(Branch, on_delete=models.CASCADE, related_name="holidays")
    day = models.DateField()
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["day"]
        constraints = [models.UniqueConstraint(fields=["branch", "day"], name="one_holiday_a_day")]

    def __str__(self) -> str:
        return f"{self.day}: {self.name}"
