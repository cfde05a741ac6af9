"""Offers as the API answers them: the best days with their reasons, and why not the others."""

from typing import Any

from rest_framework import serializers

from dispatch.api.fields import KnownNumber
from dispatch.api.serializers import ForecastAnswer, NamedAnswer, StageAnswer, VerdictAnswer
from dispatch.models import PromiseLevel
from dispatch.reads.offer import Offer


class VisitAnswer(serializers.Serializer[Any]):
    """One continuous stretch of the crew on the site."""

    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    stages = StageAnswer(many=True)


class PartAnswer(serializers.Serializer[Any]):
    """One part of what an offer costs, in the branch's money, and why."""

    amount = KnownNumber()
    why = serializers.CharField()


class TaskAnswer(serializers.Serializer[Any]):
    """Something that must be done by the end of a day if the offer is taken."""

    due = serializers.DateField()
    what = serializers.CharField()


class OfferAnswer(serializers.Serializer[Any]):
    """One possible booking. `key` names it when it is booked; it is worked out afresh then."""

    key = serializers.CharField()
    day = serializers.DateField()
    crew = NamedAnswer()
    crew_size = serializers.IntegerField()
    grinder = NamedAnswer()
    start = serializers.DateTimeField(source="plan.start")
    end = serializers.DateTimeField(source="plan.end")
    pour = serializers.DateTimeField(source="plan.pour")
    visits = VisitAnswer(source="plan.visits", many=True)
    walk_on = serializers.DateTimeField(allow_null=True)
    drive_on = serializers.DateTimeField(allow_null=True)
    drive_on_basis = serializers.CharField(source="plan.drive_on_basis")
    promise = serializers.ChoiceField(PromiseLevel.choices, source="level")
    verdict = VerdictAnswer()
    beyond_forecast = serializers.BooleanField(source="beyond")
    people = serializers.IntegerField(source="hands")
    lent = serializers.SerializerMethodField()
    tasks = TaskAnswer(many=True)
    cost = KnownNumber()
    cost_parts = PartAnswer(source="parts", many=True)

    def get_lent(self, offer: Offer) -> list[str]:
        """Names of people of other crews who come along."""
        return [str(each.installer) for each in offer.lent]


class RefusedDayAnswer(serializers.Serializer[Any]):
    """A day that is no offer, with the one sentence why and the smallest change that would do."""

    day = serializers.DateField()
    why = serializers.CharField()
    change = serializers.CharField()


class PossibleDayAnswer(serializers.Serializer[Any]):
    """A day on which crew and hours are free; its weather and slab were not looked at closely."""

    day = serializers.DateField()
    crew = NamedAnswer()
    start = serializers.DateTimeField()
    cost = KnownNumber()


class OffersAnswer(serializers.Serializer[Any]):
    """The best days, best first. `version` is the floor's, or the booking's that moves."""

    version = serializers.SerializerMethodField()
    nothing = serializers.CharField(help_text="Why there is no offer at all, or empty.")
    nearby = serializers.CharField(
        source="setting.nearby", help_text="Whose weather it is, where it is not the site's own."
    )
    forecast = ForecastAnswer(source="setting.forecast", allow_null=True)
    best = OfferAnswer(many=True)
    others = OfferAnswer(many=True)
    refused = RefusedDayAnswer(many=True)
    possible = PossibleDayAnswer(many=True)

    def get_version(self, _: object) -> int:
        """What a booking or a move of these offers must name."""
        version: int = self.context["version"]
        return version
