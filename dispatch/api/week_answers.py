"""The week as the API answers it: what its picture is drawn from, with hours as moments."""

from datetime import datetime, time, timedelta
from typing import Any

from django.urls import resolve
from rest_framework import serializers

from dispatch.api.fields import KnownNumber
from dispatch.api.serializers import LEVELS
from dispatch.reads.week import Week
from dispatch.rules.pictures import CrewRow, DayColumn, StintBar


class WeekDayAnswer(serializers.Serializer[Any]):
    """One day at the depot, hour by hour from `start`; null where an hour is not known.

    `margin_c` is how far an open slab lies above the dew point. A day has 23 to 25 hours.
    """

    # A declared field never meets the attribute of this name: the metaclass takes it away.
    label = serializers.CharField()  # type: ignore[assignment]
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    holiday = serializers.CharField()
    rain_chance_pct = serializers.ListField(child=KnownNumber(allow_null=True))
    margin_c = serializers.ListField(child=KnownNumber(allow_null=True))


class WeekStintAnswer(serializers.Serializer[Any]):
    """One stint of a crew with its promise and what is said of it."""

    booking = serializers.IntegerField()
    title = serializers.CharField()
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    promise = serializers.CharField()
    level = serializers.ChoiceField(LEVELS)
    level_word = serializers.CharField()
    headline = serializers.CharField()
    last_safe_pour = serializers.DateTimeField(allow_null=True)
    drive_on = serializers.DateTimeField(allow_null=True)


class WeekCrewAnswer(serializers.Serializer[Any]):
    """One crew, who is in it, and its stints of the week."""

    name = serializers.CharField()
    people = serializers.CharField()
    stints = WeekStintAnswer(many=True)


class WeekAnswer(serializers.Serializer[Any]):
    """One week of a branch from Monday, with how old its forecast is in words."""

    monday = serializers.DateField()
    forecast = serializers.CharField()
    days = WeekDayAnswer(many=True)
    crews = WeekCrewAnswer(many=True)


def week_values(week: Week) -> dict[str, Any]:
    """The week as plain values for `WeekAnswer`."""
    start = week.branch.at(week.monday, time(0))
    return {
        "monday": week.monday,
        "forecast": week.age,
        "days": [_day(start, each) for each in week.picture.days],
        "crews": [_crew(start, each) for each in week.picture.rows],
    }


def _day(start: datetime, day: DayColumn) -> dict[str, Any]:
    return {
        "label": day.label,
        "start": _moment(start, day.start_h),
        "end": _moment(start, day.end_h),
        "holiday": day.holiday,
        "rain_chance_pct": day.rain_chance_pct,
        "margin_c": [None if each is None else round(each, 2) for each in day.margin_c],
    }


def _crew(start: datetime, row: CrewRow) -> dict[str, Any]:
    stints = [_stint(start, bar) for bar in row.stints]
    return {"name": row.name, "people": row.people, "stints": stints}


def _stint(start: datetime, bar: StintBar) -> dict[str, Any]:
    return {
        "booking": resolve(bar.href).kwargs["pk"],
        "title": bar.title,
        "start": _moment(start, bar.start_h),
        "end": _moment(start, bar.end_h),
        "promise": bar.firm,
        "level": bar.level,
        "level_word": bar.level_word,
        "headline": bar.note,
        "last_safe_pour": _moment(start, bar.last_safe_pour_h),
        "drive_on": _moment(start, bar.drive_on_h),
    }


def _moment(start: datetime, elapsed_h: float | None) -> datetime | None:
    """The moment so many hours into the week; the picture's hours are exact to the second."""
    if elapsed_h is None:
        return None
    return start + timedelta(seconds=round(elapsed_h * 3600))
