"""Customers, their sites and the floors there."""

from zoneinfo import ZoneInfo

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from jobs.models.branches import Branch, check_zone
from jobs.models.scoping import BranchScoped
from jobs.rules.machines import Access
from jobs.rules.other_water import Water, waters
from jobs.rules.plan import Condition, Work
from weather.models import Place
from weather.rules.exposures import Exposure

EXPOSURES = [
    (Exposure.INTERIOR.value, "Indoors or basement"),
    (Exposure.GARAGE.value, "Closed garage"),
    (Exposure.APRON.value, "Garage apron"),
    (Exposure.CARPORT.value, "Carport"),
    (Exposure.PORCH.value, "Roofed porch"),
    (Exposure.OPEN.value, "Open patio or drive"),
    (Exposure.POOL_DECK.value, "Pool deck"),
]
CONDITIONS = [
    (Condition.BARE.value, "Bare concrete"),
    (Condition.SEALER.value, "Thin paint or sealer"),
    (Condition.THICK.value, "Thick coating or glue"),
]
OTHER_WATER = [
    (Water.SLOPE.value, "The drive falls towards the door"),
    (Water.ROOF_EDGE.value, "A roof edge or gutter drips on it"),
    (Water.THAW.value, "Melting snow runs on it"),
    (Water.VEHICLES.value, "Cars come in wet"),
    (Water.IRRIGATION.value, "Sprinklers reach it"),
    (Water.WASHING.value, "It is hosed or washed down"),
]
WHOLE_FLOOR = "the floor"  # how a part is named that is all of it
SMALLEST_M2, LARGEST_M2 = 1.0, 5000.0


class Customer(models.Model):
    """Whose floor it is."""

    branch = models.ForeignKey(Branch, on_delete=models.PROTECT, related_name="customers")
    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    telephone = models.CharField(max_length=40, blank=True)
    language = models.CharField(max_length=8, default="en")
    notes = models.TextField(blank=True, max_length=2000)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = BranchScoped.as_manager()

    class Meta:
        ordering = ["name"]
        indexes = [models.Index(fields=["branch", "name"])]

    def __str__(self) -> str:
        return self.name


class SiteQuerySet(BranchScoped):
    branch_path = "customer__branch"


class Site(models.Model):
    """An address: where it is, when one may work there and what a crew meets."""

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="sites")
    street = models.CharField(max_length=160)
    town = models.CharField(max_length=80)
    region = models.CharField(max_length=40, blank=True)
    postal_code = models.CharField(max_length=16, blank=True)
    latitude = models.FloatField(validators=[MinValueValidator(-90), MaxValueValidator(90)])
    longitude = models.FloatField(validators=[MinValueValidator(-180), MaxValueValidator(180)])
    zone = models.CharField(max_length=64, validators=[check_zone])
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="sites")
    opens = models.TimeField(null=True, blank=True)
    closes = models.TimeField(null=True, blank=True)
    quiet_until = models.TimeField(null=True, blank=True)
    quiet_from = models.TimeField(null=True, blank=True)
    # Hours in which the gate lets contractors in, by month and weekday: see `jobs.rules.gate`.
    gate_rules = models.JSONField(default=list, blank=True)
    access = models.CharField(max_length=300, blank=True)
    power = models.CharField(max_length=200, blank=True)
    # No socket for a grinder: a generator goes along, and claims its time like a machine.
    needs_generator = models.BooleanField(default=False)
    # The same as numbers, for choosing the machine: narrowest way in, best outlet and its fuse.
    way_in_m = models.FloatField(null=True, blank=True)
    volts = models.PositiveSmallIntegerField(null=True, blank=True)
    amps = models.PositiveSmallIntegerField(null=True, blank=True)
    only_way_in = models.BooleanField(default=False)
    drains_to_door = models.BooleanField(default=False)
    contact = models.CharField(max_length=160, blank=True)

    objects = SiteQuerySet.as_manager()

    def __str__(self) -> str:
        return self.address

    @property
    def address(self) -> str:
        """Street, town and region on one line."""
        tail = " ".join(part for part in (self.region, self.postal_code) if part)
        return ", ".join(part for part in (self.street, self.town, tail) if part)

    @property
    def grinder_access(self) -> Access:
        """What a grinder finds there. A generator's outlet is not the site's."""
        if self.needs_generator:
            return Access(width_m=self.way_in_m)
        return Access(width_m=self.way_in_m, volts=self.volts, amps=self.amps)

    @property
    def power_known(self) -> bool:
        """Whether it was noted what the grinder is plugged into, a generator included."""
        said = bool(self.power.strip()) or self.needs_generator
        return said or (self.volts is not None and self.amps is not None)

    @property
    def tz(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.zone)


class FloorQuerySet(BranchScoped):
    branch_path = "site__customer__branch"


class Floor(models.Model):
    """One surface that is coated in one go. Lengths in m, area in m²."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="floors")
    name = models.CharField(max_length=80, default="Floor")
    exposure = models.CharField(max_length=16, choices=EXPOSURES)
    area_m2 = models.FloatField()
    edge_m = models.FloatField(default=0)
    crack_m = models.FloatField(default=0)
    stem_wall_m = models.FloatField(default=0)
    steps = models.PositiveSmallIntegerField(default=0)
    spalls = models.PositiveSmallIntegerField(default=0)
    condition = models.CharField(max_length=12, choices=CONDITIONS, default=Condition.BARE.value)
    poured_on = models.DateField(null=True, blank=True)
    # Joints divide a large floor into so many bays; 1 is a floor laid in one piece.
    bays = models.PositiveSmallIntegerField(default=1)
    porous = models.BooleanField(default=False)  # block or rough concrete drinks more base
    # Values of `Water`: how it gets wet besides the rain that falls on it.
    other_water = models.JSONField(default=list, blank=True)

    objects = FloorQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(area_m2__gte=SMALLEST_M2, area_m2__lte=LARGEST_M2),
                name="floor_area_can_be",
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} at {self.site}"

    @property
    def waters(self) -> tuple[Water, ...]:
        """How it gets wet besides the rain that falls on it."""
        return waters(self.other_water)

    @property
    def work(self) -> Work:
        """The floor as the rules see it."""
        return Work(
            area_m2=self.area_m2,
            edge_m=self.edge_m,
            crack_m=self.crack_m,
            stem_wall_m=self.stem_wall_m,
            steps=self.steps,
            spalls=self.spalls,
            condition=Condition(self.condition),
            porous=self.porous,
        )


class FloorPart(models.Model):
    """A part of a floor that lives by its own rule: the apron, a shaded half."""

    floor = models.ForeignKey(Floor, on_delete=models.CASCADE, related_name="parts")
    name = models.CharField(max_length=60)
    exposure = models.CharField(max_length=16, choices=EXPOSURES)
    wetted_at = models.DateTimeField(null=True, blank=True)
    looked_dry_at = models.DateTimeField(null=True, blank=True)
    # What wetted it, where that was not rain: a value of `Water`.
    wetted_by = models.CharField(max_length=12, blank=True, choices=OTHER_WATER)
    estimated = models.BooleanField(default=False)
    noted_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.name} of {self.floor}"
