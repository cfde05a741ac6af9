"""Bodies and queries of requests. Shape is checked here; what can be is said by the services."""

from typing import Any

from rest_framework import serializers

from dispatch.api.fields import LARGEST_COUNT, Count, Day, Id, Number, SiteMoment, Strict
from jobs.models import Branch, CoatingSystem, DayWish
from jobs.models.customers import CONDITIONS, EXPOSURES
from jobs.rules.new_jobs import FLOOR_NAME_MOST, MOST_FLOORS, NOTES_MOST, TEXTS, NewFloor, NewJob

MOST_DAYS = 366
WHY_MOST = 500
# Above every limit of the services, which say theirs in the branch's units.
LARGEST_M = 1_000_000.0
OFFER = r"^[1-9]\d{0,17}(\+[1-9]\d{0,17}|\*)?@2[01]\d\d-[01]\d-[0-3]\dT[0-2]\d:[0-5]\dZ$"


def _text(name: str, **given: Any) -> serializers.CharField:
    most, _ = TEXTS[name]
    return serializers.CharField(max_length=most, **given)


def _maybe(name: str) -> serializers.CharField:
    return _text(name, required=False, allow_blank=True)


def _length(**given: Any) -> Number:
    return Number(min_value=0, max_value=LARGEST_M, **given)


class NewFloorBody(Strict):
    """One surface: lengths in m, area in m². An edge left out is taken as a square's."""

    name = serializers.CharField(max_length=FLOOR_NAME_MOST, required=False)
    exposure = serializers.ChoiceField(EXPOSURES)
    area_m2 = _length()
    edge_m = _length(required=False, allow_null=True)
    crack_m = _length(required=False)
    stem_wall_m = _length(required=False)
    steps = Count(required=False)
    spalls = Count(required=False)
    condition = serializers.ChoiceField(CONDITIONS, required=False)
    poured_on = Day(required=False, allow_null=True)


class NewFloorsBody(Strict):
    """An order: customer, address, coating system, floors and the customer's conditions.

    `car_needed_by` without a zone is a time on the site's clock.
    """

    customer_name = _text("customer_name")
    email = _maybe("email")
    telephone = _maybe("telephone")
    street = _text("street")
    town = _maybe("town")
    region = _maybe("region")
    postal_code = _maybe("postal_code")
    latitude = Number(required=False, allow_null=True, min_value=-90, max_value=90)
    longitude = Number(required=False, allow_null=True, min_value=-180, max_value=180)
    zone = _maybe("zone")
    access = _maybe("access")
    power = _maybe("power")
    only_way_in = serializers.BooleanField(required=False)
    system_id = Id()
    # The stubs do not know what a serializer of many takes besides.
    floors = NewFloorBody(many=True, allow_empty=False, max_length=MOST_FLOORS)  # type: ignore[call-arg]
    day_wish = serializers.ChoiceField(DayWish.choices, required=False)
    wished_day = Day(required=False, allow_null=True)
    impossible_days = serializers.ListField(child=Day(), required=False, max_length=MOST_DAYS)
    car_needed_by = SiteMoment(required=False, allow_null=True)
    can_come_soon = serializers.BooleanField(required=False)
    color = _maybe("color")
    notes = serializers.CharField(max_length=NOTES_MOST, required=False, allow_blank=True)

    def validate_system_id(self, value: int) -> int:
        """The system's number, if this branch sells it."""
        branch: Branch = self.context["branch"]
        if not CoatingSystem.objects.of_branch(branch).filter(pk=value, sold=True).exists():
            raise serializers.ValidationError("There is no such coating system in this branch.")
        return value

    def new_job(self) -> NewJob:
        """The order as the service takes it in."""
        values = dict(self.validated_data)
        floors = tuple(NewFloor(**floor) for floor in values.pop("floors"))
        for name in ("latitude", "longitude"):
            degrees = values.pop(name, None)
            values[name] = "" if degrees is None else f"{degrees:.6f}"
        values["impossible_days"] = tuple(values.get("impossible_days", ()))
        return NewJob(floors=floors, **values)


class VersionBody(Strict):
    """The version of the booking as it was last read."""

    version = Count()


class BookBody(Strict):
    """One of the floor's offers by its key, and the version the floor had when it was read.

    `hold` keeps the day for a caller for a while without promising it.
    """

    offer = serializers.RegexField(OFFER)
    version = Count()
    hold = serializers.BooleanField(default=False)


class MoveBody(Strict):
    """One of the booking's offers, its version, and why it moves: the customer is told."""

    offer = serializers.RegexField(OFFER)
    version = Count()
    why = serializers.CharField(max_length=WHY_MOST, required=False, allow_blank=True, default="")


class CallOffBody(Strict):
    """The booking's version and why it is called off: the customer is told."""

    version = Count()
    why = serializers.CharField(max_length=WHY_MOST)


class BranchQuery(Strict):
    """Which branch; left out, the caller's first by name."""

    branch = serializers.CharField(required=False, max_length=50, help_text="A branch's slug.")


class PageQuery(BranchQuery):
    """One page of a list."""

    page = serializers.IntegerField(required=False, min_value=1, max_value=LARGEST_COUNT)
    size = serializers.IntegerField(required=False, min_value=1, max_value=200)


class WaitingQuery(PageQuery):
    """Whom to look for among the floors that wait."""

    q = serializers.CharField(
        required=False, allow_blank=True, max_length=80, help_text="Name, street or telephone."
    )


class WeekQuery(BranchQuery):
    """Any day of the week that is wanted; left out, today."""

    day = Day(required=False)
