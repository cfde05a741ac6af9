"""What the API answers. Moments are in UTC; null is "not known", never zero and never good."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from dispatch.api.fields import KnownNumber
from dispatch.models import BookingState, PromiseLevel, Stint, StintState, StoredVerdict
from dispatch.rules.findings import Level
from jobs.models import DayWish, JobState
from jobs.models.customers import CONDITIONS, EXPOSURES
from weather.reads import forecast_age_h

LEVELS = [(level.value, level.value) for level in Level]


class NamedAnswer(serializers.Serializer[Any]):
    """A row by its number and name."""

    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()


class CustomerAnswer(NamedAnswer):
    """Whose floor it is."""

    email = serializers.CharField()
    telephone = serializers.CharField()


class SiteAnswer(serializers.Serializer[Any]):
    """Where the floor is, and how to get in."""

    id = serializers.IntegerField(source="pk")
    street = serializers.CharField()
    town = serializers.CharField()
    region = serializers.CharField()
    postal_code = serializers.CharField()
    latitude = KnownNumber()
    longitude = KnownNumber()
    zone = serializers.CharField()
    access = serializers.CharField()
    power = serializers.CharField()


class SurfaceAnswer(NamedAnswer):
    """One surface. Lengths in m, area in m²."""

    exposure = serializers.ChoiceField(EXPOSURES)
    area_m2 = KnownNumber()
    edge_m = KnownNumber()
    crack_m = KnownNumber()
    stem_wall_m = KnownNumber()
    steps = serializers.IntegerField()
    spalls = serializers.IntegerField()
    condition = serializers.ChoiceField(CONDITIONS)
    poured_on = serializers.DateField(allow_null=True)


class FloorAnswer(serializers.Serializer[Any]):
    """An order: floors of one site that are coated in one go. `version` goes with a booking."""

    id = serializers.IntegerField(source="pk")
    version = serializers.IntegerField()
    state = serializers.ChoiceField(JobState.choices)
    customer = CustomerAnswer()
    site = SiteAnswer()
    system = NamedAnswer()
    floors = SurfaceAnswer(many=True)
    day_wish = serializers.ChoiceField(DayWish.choices)
    wished_day = serializers.DateField(allow_null=True)
    impossible_days = serializers.ListField(child=serializers.DateField())
    car_needed_by = serializers.DateTimeField(allow_null=True)
    can_come_soon = serializers.BooleanField()
    color = serializers.CharField()
    notes = serializers.CharField()
    created_at = serializers.DateTimeField()


class TakenInAnswer(FloorAnswer):
    """The order that waits now, and what was assumed where something was left out."""

    remarks = serializers.SerializerMethodField()

    def get_remarks(self, _: object) -> list[str]:
        """Sentences for the person who sent the order."""
        return list(self.context.get("remarks", ()))


class CheckAnswer(serializers.Serializer[Any]):
    """One limit held against the hours, with the hour that decides."""

    name = serializers.CharField()
    level = serializers.ChoiceField(LEVELS)
    sentence = serializers.CharField()
    at = serializers.DateTimeField(allow_null=True)
    value = KnownNumber(allow_null=True)
    limit = KnownNumber(allow_null=True)
    unit = serializers.CharField()


class VerdictAnswer(serializers.Serializer[Any]):
    """What is said of a plan on one forecast, and why. It certifies no slab."""

    level = serializers.ChoiceField(LEVELS)
    headline = serializers.CharField()
    checks = CheckAnswer(many=True)
    ways_out = serializers.ListField(child=serializers.CharField())
    wet_from = serializers.DateTimeField(allow_null=True)
    wet_until = serializers.DateTimeField(allow_null=True)
    last_safe_pour = serializers.DateTimeField(allow_null=True)
    binds = serializers.CharField(allow_blank=True)
    slack_min = serializers.IntegerField(allow_null=True)
    firmness = serializers.CharField(allow_blank=True)


class ForecastAnswer(serializers.Serializer[Any]):
    """The forecast that something rests on, and how old it is now."""

    # A declared field never meets the attribute of this name: the metaclass takes it away.
    source = serializers.CharField()  # type: ignore[assignment]
    issued_at = serializers.DateTimeField()
    fetched_at = serializers.DateTimeField()
    age_h = serializers.SerializerMethodField()

    def get_age_h(self, forecast: Any) -> float:
        """Hours since it was issued."""
        now: datetime = self.context["now"]
        return round(forecast_age_h(forecast, now=now), 2)


class StoredVerdictAnswer(VerdictAnswer):
    """The latest verdict on a stint, with the forecast it came from; null if there was none."""

    made_at = serializers.DateTimeField()
    forecast = ForecastAnswer(allow_null=True)


class StageAnswer(serializers.Serializer[Any]):
    """One step on the clock; no hands in a wait."""

    kind = serializers.CharField()
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    hands = serializers.IntegerField()


class StintAnswer(serializers.Serializer[Any]):
    """One stretch of one crew on the site. `verdict` null: not judged yet, which is no go."""

    id = serializers.IntegerField(source="pk")
    number = serializers.IntegerField()
    state = serializers.ChoiceField(StintState.choices)
    crew = NamedAnswer()
    installers = NamedAnswer(many=True)
    machines = NamedAnswer(many=True)
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    travel_before_min = serializers.IntegerField()
    travel_after_min = serializers.IntegerField()
    pour_at = serializers.DateTimeField(allow_null=True)
    wet_until = serializers.DateTimeField(allow_null=True)
    stages = StageAnswer(many=True)
    verdict = serializers.SerializerMethodField()

    @extend_schema_field(StoredVerdictAnswer(allow_null=True))
    def get_verdict(self, stint: Stint) -> Any:
        """The latest verdict, or null."""
        return verdict_of(stint, self.context)


class BookingAnswer(serializers.Serializer[Any]):
    """The promise to one floor. `floor` is the number of the order, as in floors/{id}."""

    id = serializers.IntegerField(source="pk")
    version = serializers.IntegerField()
    floor = serializers.IntegerField(source="job_id")
    customer = CustomerAnswer(source="job.customer")
    state = serializers.ChoiceField(BookingState.choices)
    promise = serializers.ChoiceField(PromiseLevel.choices)
    held_until = serializers.DateTimeField(allow_null=True)
    walk_on_at = serializers.DateTimeField(allow_null=True)
    drive_on_at = serializers.DateTimeField(allow_null=True)
    drive_on_basis = serializers.CharField(allow_blank=True)
    moves = serializers.IntegerField()
    booked_at = serializers.DateTimeField()
    confirmed_at = serializers.DateTimeField(allow_null=True)
    done_at = serializers.DateTimeField(allow_null=True)
    called_off_at = serializers.DateTimeField(allow_null=True)
    called_off_why = serializers.CharField(allow_blank=True)
    stints = StintAnswer(many=True)


class OpenStintAnswer(serializers.Serializer[Any]):
    """A stint that is still to be done, and what the latest forecast says of it."""

    stint = serializers.IntegerField(source="pk")
    booking = serializers.IntegerField(source="booking_id")
    floor = serializers.IntegerField(source="booking.job_id")
    customer = serializers.CharField(source="booking.job.customer.name")
    crew = NamedAnswer()
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    level = serializers.SerializerMethodField()
    verdict = serializers.SerializerMethodField()

    @extend_schema_field(serializers.ChoiceField(LEVELS))
    def get_level(self, stint: Stint) -> str:
        """The verdict's level; "unknown" where the stint was never judged."""
        latest = _latest(stint)
        return latest.level if latest else Level.UNKNOWN.value

    @extend_schema_field(StoredVerdictAnswer(allow_null=True))
    def get_verdict(self, stint: Stint) -> Any:
        """The latest verdict, or null."""
        return verdict_of(stint, self.context)


def verdict_of(stint: Stint, context: Mapping[str, Any]) -> Any:
    """The latest verdict on a stint that `rows.with_verdicts` read, or None."""
    latest = _latest(stint)
    return None if latest is None else StoredVerdictAnswer(latest, context=dict(context)).data


def _latest(stint: Any) -> StoredVerdict | None:
    return next(iter(stint.latest_verdicts), None)
