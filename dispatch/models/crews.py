"""Crews, the people in them and the machines they take along."""

from datetime import date

from django.db import models

from dispatch.models.resources import Resource
from jobs.models import Branch
from jobs.models.scoping import BranchScoped
from jobs.rules.machines import MachineRate


class CrewQuerySet(BranchScoped):
    """Crews."""

    def working(self) -> "CrewQuerySet":
        """Crews that still exist."""
        return self.filter(active=True)


class Crew(models.Model):
    """People who go to one site together."""

    resource = models.OneToOneField(Resource, on_delete=models.PROTECT, related_name="crew")
    branch = models.ForeignKey(Branch, on_delete=models.PROTECT, related_name="crews")
    name = models.CharField(max_length=60)
    lead = models.ForeignKey(
        "Installer", null=True, blank=True, on_delete=models.SET_NULL, related_name="leads"
    )
    active = models.BooleanField(default=True)

    objects = CrewQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["branch", "name"], name="one_crew_a_name")]

    def __str__(self) -> str:
        return self.name


class Installer(models.Model):
    """A named person who coats floors."""

    resource = models.OneToOneField(Resource, on_delete=models.PROTECT, related_name="installer")
    branch = models.ForeignKey(Branch, on_delete=models.PROTECT, related_name="installers")
    name = models.CharField(max_length=80)
    telephone = models.CharField(max_length=40, blank=True)

    objects = BranchScoped.as_manager()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class CrewMembershipQuerySet(BranchScoped):
    """Who is in which crew when."""

    branch_path = "crew__branch"

    def on(self, day: date) -> "CrewMembershipQuerySet":
        """Memberships that hold on `day`."""
        return self.filter(from_day__lte=day).filter(
            models.Q(until_day__isnull=True) | models.Q(until_day__gte=day)
        )


class CrewMembership(models.Model):
    """A person belongs to a crew from one day until another, both included."""

    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="memberships")
    installer = models.ForeignKey(Installer, on_delete=models.PROTECT, related_name="memberships")
    from_day = models.DateField()
    until_day = models.DateField(null=True, blank=True)

    objects = CrewMembershipQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(until_day__isnull=True)
                | models.Q(until_day__gte=models.F("from_day")),
                name="membership_ends_after_it_starts",
            )
        ]

    def __str__(self) -> str:
        return f"{self.installer} in {self.crew} from {self.from_day}"


class MachineKind(models.TextChoices):
    """What a machine is for."""

    GRINDER = "grinder", "Floor grinder"
    HEATER = "heater", "Vented heater"
    CANOPY = "canopy", "Canopy"
    GENERATOR = "generator", "Generator"
    TRAILER = "trailer", "Trailer"


class Machine(models.Model):
    """One machine; two of a kind are two rows, for each can be in one place only."""

    resource = models.OneToOneField(Resource, on_delete=models.PROTECT, related_name="machine")
    branch = models.ForeignKey(Branch, on_delete=models.PROTECT, related_name="machines")
    kind = models.CharField(max_length=10, choices=MachineKind.choices)
    name = models.CharField(max_length=60)
    active = models.BooleanField(default=True)
    # What a grinder grinds of bare concrete and asks of a site; None where nobody said.
    m2_per_h = models.FloatField(null=True, blank=True)
    width_m = models.FloatField(null=True, blank=True)
    volts = models.PositiveSmallIntegerField(null=True, blank=True)
    amps = models.PositiveSmallIntegerField(null=True, blank=True)
    power_kw = models.FloatField(null=True, blank=True)  # of a heater

    objects = BranchScoped.as_manager()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def rate(self) -> MachineRate:
        """The grinder as the rules see it."""
        return MachineRate(self.name, self.m2_per_h, self.width_m, self.volts, self.amps)


class Absence(models.Model):
    """A person or machine that is away; it claims its time like work does."""

    resource = models.ForeignKey(Resource, on_delete=models.PROTECT, related_name="absences")
    start = models.DateTimeField()
    end = models.DateTimeField()
    why = models.CharField(max_length=160, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(end__gt=models.F("start")), name="absence_ends_after_it_starts"
            )
        ]

    def __str__(self) -> str:
        return f"{self.resource} is away from {self.start} until {self.end}"
