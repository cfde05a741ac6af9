"""Fields and bodies that take what was meant, and refuse the rest by name."""

from collections.abc import Mapping
from datetime import date, datetime, tzinfo
from math import isfinite
from typing import Any

from django.http import QueryDict
from rest_framework import serializers

FIRST_YEAR, LAST_YEAR = 2000, 2100
LARGEST_ID = 2**63 - 1
LARGEST_COUNT = 2**31 - 1
TOLD_AT_MOST = 20
OUTSIDE = f"Days from {FIRST_YEAR} to {LAST_YEAR} are known here."


class Strict(serializers.Serializer[Any]):
    """A body or a query that refuses every key it does not know."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            unknown = sorted(str(key) for key in data if key not in self.fields)
            if unknown:
                said = {key[:80]: ["There is no such field here."] for key in unknown}
                raise serializers.ValidationError(dict(list(said.items())[:TOLD_AT_MOST]))
        return super().to_internal_value(data)


class Day(serializers.DateField):
    """A date, 2000 to 2100."""

    def to_internal_value(self, value: Any) -> date:
        day: date = super().to_internal_value(value)
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise serializers.ValidationError(OUTSIDE)
        return day


class SiteMoment(serializers.DateTimeField):
    """A moment, 2000 to 2100; without a zone it is a time on the site's clock and stays so."""

    def enforce_timezone(self, value: datetime, *_: tzinfo) -> datetime:
        if not FIRST_YEAR <= value.year <= LAST_YEAR:
            raise serializers.ValidationError(OUTSIDE)
        return value


class Number(serializers.FloatField):
    """A number of JSON; neither text nor yes and no, which Python would count as 1 and 0."""

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, int | float):
            raise serializers.ValidationError("A number is needed.")
        return super().to_internal_value(data)


class KnownNumber(serializers.FloatField):
    """A number in an answer; null where it is not known."""

    def to_representation(self, value: Any) -> Any:
        return float(value) if isfinite(value) else None


class Count(serializers.IntegerField):
    """A whole number from zero; never yes or no."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"min_value": 0, "max_value": LARGEST_COUNT, **kwargs})


class Id(serializers.IntegerField):
    """The number of a row."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"min_value": 1, "max_value": LARGEST_ID, **kwargs})


def once_each(query: QueryDict) -> dict[str, str]:
    """The query of an address as plain values; what is said twice is refused."""
    twice = [name for name, values in query.lists() if len(values) > 1]
    if twice:
        raise serializers.ValidationError({twice[0][:80]: ["This is given twice."]})
    return query.dict()  # type: ignore[return-value]  # every list has one value
