"""A quick answer over the API: the best days of a floor that is only told, and holding one."""

from typing import Any

from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from dispatch.api import rows
from dispatch.api.asked import OFFER, BranchQuery
from dispatch.api.choosing import chosen_offer
from dispatch.api.entrance import KEY, BranchView, answers
from dispatch.api.fields import Count, Id, Strict
from dispatch.api.offer_answers import OffersAnswer
from dispatch.api.serializers import BookingAnswer
from dispatch.reads.offers import best_days
from dispatch.services import bookings, links
from dispatch.services.verdicts import judge_booking
from dispatch.views.bookings import HOLD_FOR
from jobs import access, idempotency
from jobs.models import Job
from jobs.models.customers import CONDITIONS, EXPOSURES
from jobs.services import describing
from jobs.services.describing import Told

LARGEST_M2 = 1_000_000.0


class ToldQuery(BranchQuery):
    """What a caller says first. The place is a US postal code, else coordinates and a zone."""

    exposure = serializers.ChoiceField(EXPOSURES)
    area_m2 = serializers.FloatField(min_value=0, max_value=LARGEST_M2)
    system = serializers.IntegerField(min_value=1)
    postal_code = serializers.CharField(required=False, max_length=16)
    latitude = serializers.CharField(required=False, max_length=20)
    longitude = serializers.CharField(required=False, max_length=20)
    zone = serializers.CharField(required=False, max_length=64)
    condition = serializers.ChoiceField(CONDITIONS, required=False)
    steps = serializers.IntegerField(required=False, min_value=0, max_value=200)


class HoldBody(Strict):
    """The same again with the offer that is held, and whom to ring if it is known."""

    offer = serializers.RegexField(OFFER)
    exposure = serializers.ChoiceField(EXPOSURES)
    area_m2 = serializers.FloatField(min_value=0, max_value=LARGEST_M2)
    system = Id()
    postal_code = serializers.CharField(required=False, max_length=16)
    latitude = serializers.CharField(required=False, max_length=20)
    longitude = serializers.CharField(required=False, max_length=20)
    zone = serializers.CharField(required=False, max_length=64)
    condition = serializers.ChoiceField(CONDITIONS, required=False)
    steps = Count(required=False)
    customer_name = serializers.CharField(required=False, allow_blank=True, max_length=120)
    telephone = serializers.CharField(required=False, allow_blank=True, max_length=40)


def told_of(values: dict[str, Any]) -> Told:
    """What was said, as the service takes it."""
    kept = {name: value for name, value in values.items() if name not in {"branch", "offer"}}
    kept["system_id"] = kept.pop("system")
    return Told(**kept)


class QuickAnswer(BranchView):
    """Days for a floor that nobody has taken in yet."""

    reading = access.OFFICE_ROLES
    serializer_class = OffersAnswer

    @extend_schema(
        operation_id="quick_answer",
        parameters=[ToldQuery],
        responses=answers(200, OffersAnswer, 404, 422),
    )
    def get(self, request: Request) -> Response:
        """The best days of a floor as it was told; nothing is written."""
        told = told_of(dict(self.query(ToldQuery)))
        job = describing.described(branch=self.branch, told=told, now=self.now)
        found = best_days(job, now=self.now)
        context = {**self.get_serializer_context(), "version": 0}
        return Response(OffersAnswer(found, context=context).data)

    @extend_schema(
        operation_id="quick_hold",
        parameters=[BranchQuery, KEY],
        request=HoldBody,
        responses=answers(201, BookingAnswer, 404, 409, 413, 415, 422, 503),
    )
    def post(self, request: Request) -> Response:
        """Note the floor and hold one of its days for half an hour; the hold lapses by itself."""
        self.query(BranchQuery)
        key, body = self.key(), dict(self.body(HoldBody).validated_data)
        job = describing.note(
            branch=self.branch, told=told_of(body), by=self.by(), now=self.now, key=key[:50] + "-n"
        )
        asked = ("quick hold", job.pk, body["offer"])
        held = idempotency.answered(by=self.by(), key=key, what=asked)
        booking_id = held if held is not None else self._hold(job.pk, body["offer"], key, asked)
        booking = rows.booking_of(self.branch, booking_id)
        answer = BookingAnswer(booking, context=self.get_serializer_context())
        where = {"Location": reverse("api-booking", args=[booking.pk])}
        return Response(answer.data, status=status.HTTP_201_CREATED, headers=where)

    def _hold(self, job_id: int, chosen: str, key: str, asked: object) -> int:
        job = Job.objects.with_floors().get(pk=job_id)
        offer = chosen_offer(self.branch, job, chosen, now=self.now)
        booking = bookings.book(
            branch=self.branch,
            job_id=job.pk,
            version=job.version,
            ask=offer.ask(held_until=self.now + HOLD_FOR, why="On the telephone.", key=key),
            by=self.by(),
            now=self.now,
            asked=asked,
        )
        links.for_booking(booking, now=self.now)
        judge_booking(booking, now=self.now)
        return booking.pk
