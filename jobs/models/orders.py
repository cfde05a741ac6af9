"""Coating systems and the jobs that ask for them."""

from datetime import date
from decimal import Decimal

from django.db import models

from jobs.models.branches import Branch
from jobs.models.customers import Customer, Floor, Site
from jobs.models.scoping import BranchScoped
from jobs.rules.card_json import card_from_json
from jobs.rules.cards import Card
from jobs.rules.must_know import Standing, Subject, Topic, missing
from jobs.rules.plan import Condition, Work
from weather.rules.exposures import Exposure


class CoatingSystem(models.Model):
    """A recipe that a branch sells, with its card of limits. The data sheet overrides it."""

    branch = models.ForeignKey(Branch, on_delete=models.PROTECT, related_name="systems")
    name = models.CharField(max_length=80)
    card_json = models.JSONField()
    price_per_m2 = models.DecimalField(max_digits=9, decimal_places=2)
    smallest_price = models.DecimalField(max_digits=9, decimal_places=2, default=Decimal(0))
    sold = models.BooleanField(default=True)

    objects = BranchScoped.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["branch", "name"], name="one_system_a_name")]

    def __str__(self) -> str:
        return self.name

    @property
    def card(self) -> Card:
        """Limits and times as plain values."""
        return card_from_json(self.card_json)


class JobState(models.TextChoices):
    """Where an order stands."""

    WAITING = "waiting", "Waiting for a day"
    BOOKED = "booked", "Booked"
    DONE = "done", "Coated"
    CALLED_OFF = "called_off", "Called off"


class DayWish(models.TextChoices):
    """How much a customer's day matters."""

    ANY = "any", "Any day"
    PREFERS = "prefers", "Prefers a day"
    FIXED = "fixed", "Only this day"


class ReturnCause(models.TextChoices):
    """Why somebody has to come back to a floor."""

    BUBBLES = "bubbles", "Bubbles or pinholes"
    PEELING = "peeling", "It lets go of the concrete"
    TIRES = "tires", "Hot tires lifted it"
    MISSED = "missed", "A spot was missed"
    COLOR = "color", "Color or flake is uneven"
    DAMAGE = "damage", "It was damaged afterwards"
    OTHER = "other", "Something else"


class JobQuerySet(BranchScoped):
    """Orders."""

    def waiting(self) -> "JobQuerySet":
        """Orders without a day, first come first."""
        return self.filter(state=JobState.WAITING).order_by("created_at", "pk")

    def with_floors(self) -> "JobQuerySet":
        """What a list of orders shows, in a fixed number of queries."""
        return self.select_related("customer", "site__place", "system", "branch").prefetch_related(
            "floors__parts"
        )


class Job(models.Model):
    """An order: floors of one site, one system, and the customer's conditions."""

    branch = models.ForeignKey(Branch, on_delete=models.PROTECT, related_name="jobs")
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="jobs")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="jobs")
    floors = models.ManyToManyField(Floor, related_name="jobs")
    system = models.ForeignKey(CoatingSystem, on_delete=models.PROTECT, related_name="jobs")
    state = models.CharField(max_length=12, choices=JobState.choices, default=JobState.WAITING)
    day_wish = models.CharField(max_length=8, choices=DayWish.choices, default=DayWish.ANY)
    wished_day = models.DateField(null=True, blank=True)
    impossible_days = models.JSONField(default=list, blank=True)
    car_needed_by = models.DateTimeField(null=True, blank=True)
    # A shop or a room that opens again: it must be walked on by then, with a margin.
    reopens_at = models.DateTimeField(null=True, blank=True)
    can_come_soon = models.BooleanField(default=False)
    # What the floor must be usable for; a working day to return on is kept before it.
    event_on = models.DateField(null=True, blank=True)
    color = models.CharField(max_length=80, blank=True)
    notes = models.TextField(blank=True, max_length=2000)
    price = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    # Only described on the telephone: name, street and the rest are still to be taken in.
    described_only = models.BooleanField(default=False)
    # A return visit: the order it comes back to, and why.
    returns_to = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="returns"
    )
    return_cause = models.CharField(max_length=10, blank=True, choices=ReturnCause.choices)
    version = models.PositiveIntegerField(default=0)
    created_at = models.DateTimeField()

    objects = JobQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["branch", "state", "created_at"])]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(day_wish="any") | models.Q(wished_day__isnull=False),
                name="a_wish_names_its_day",
            )
        ]

    def __str__(self) -> str:
        return f"{self.customer}: {self.system}"

    def work(self) -> Work:
        """All floors of the order as one piece of work, as bad as the worst of them."""
        works = [floor.work for floor in self.floors.all()]
        return Work(
            area_m2=sum(work.area_m2 for work in works),
            edge_m=sum(work.edge_m for work in works),
            crack_m=sum(work.crack_m for work in works),
            stem_wall_m=sum(work.stem_wall_m for work in works),
            steps=sum(work.steps for work in works),
            spalls=sum(work.spalls for work in works),
            condition=max(
                (work.condition for work in works),
                key=list(Condition).index,
                default=Condition.BARE,
            ),
            porous=any(work.porous for work in works),
        )

    def bays(self) -> int:
        """Sections that its joints divide it into; several floors are laid in one go."""
        floors = list(self.floors.all())
        return floors[0].bays if len(floors) == 1 else 1

    def exposures(self) -> list[Exposure]:
        """How its floors lie, each once, in the order of the floors."""
        return list(dict.fromkeys(Exposure(floor.exposure) for floor in self.floors.all()))

    def days_off(self) -> set[date]:
        """Days on which the customer cannot."""
        return {date.fromisoformat(day) for day in self.impossible_days}

    def subject(self, *, today: date) -> Subject:
        """What the order tells by itself of what must be known before its day is confirmed."""
        poured = [floor.poured_on for floor in self.floors.all() if floor.poured_on]
        return Subject(
            exposures=self.exposures(),
            power=self.site.power_known,
            access=bool(self.site.access.strip()) or self.site.way_in_m is not None,
            poured_on=max(poured, default=None),
            today=today,
        )

    def missing(self, *, today: date) -> tuple[Topic, ...]:
        """What must be known and is not, in the order in which it is asked."""
        said = {Topic(each.topic): Standing(each.standing) for each in self.questions.all()}
        return missing(self.subject(today=today), answers=said)
