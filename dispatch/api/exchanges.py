"""Swaps, hand-overs and undoes over the API."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from dispatch.api.asked import WHY_MOST, BranchQuery, VersionBody
from dispatch.api.bookings import CHANGE, BookingView
from dispatch.api.entrance import answers
from dispatch.api.fields import Count, Id, SiteMoment, Strict
from dispatch.api.refusals import telling_version
from dispatch.api.serializers import BookingAnswer
from dispatch.services import bookings
from dispatch.services.swapping import Side
from dispatch.services.verdicts import judge_booking
from jobs.refusals import Refusal
from jobs.text import one_line


class SwapBody(Strict):
    """The booking's version, the other booking with its version, and why: customers are told."""

    version = Count()
    other = Id()
    other_version = Count()
    why = serializers.CharField(max_length=WHY_MOST, required=False, allow_blank=True, default="")


class HandOverBody(Strict):
    """Which machine leaves the floor at which moment, with a zone, for how long a road.

    `why` may say who drives it over.
    """

    version = Count()
    machine = Id()
    until = SiteMoment()
    road_min = serializers.IntegerField(min_value=0, max_value=24 * 60, default=0)
    why = serializers.CharField(max_length=WHY_MOST, required=False, allow_blank=True, default="")


class BookingSwap(BookingView):
    """The swap of two bookings."""

    @extend_schema(
        operation_id="bookings_swap",
        parameters=[BranchQuery],
        request=SwapBody,
        responses=answers(200, BookingAnswer, *CHANGE),
    )
    def post(self, request: Request, pk: int) -> Response:
        """Exchange crews and days with another booking, both or neither; answers the first."""
        self.query(BranchQuery)
        body = self.body(SwapBody).validated_data
        with telling_version(self.mine(), pk):
            swapped = bookings.swap(
                branch=self.branch,
                first=Side(pk, body["version"]),
                second=Side(body["other"], body["other_version"]),
                by=self.by(),
                now=self.now,
                why=one_line(body["why"], most=WHY_MOST),
            )
        for booking in swapped:
            judge_booking(booking, now=self.now)
        return self.shown(pk)


class BookingHandOver(BookingView):
    """The hand-over of one machine of a booking."""

    @extend_schema(
        operation_id="bookings_hand_over",
        parameters=[BranchQuery],
        request=HandOverBody,
        responses=answers(200, BookingAnswer, *CHANGE),
    )
    def post(self, request: Request, pk: int) -> Response:
        """Keep a machine on this floor until an hour only; after its road others can have it."""
        self.query(BranchQuery)
        body = self.body(HandOverBody).validated_data
        if body["until"].tzinfo is None:
            raise Refusal("Please give the moment with its zone.", field="until")
        with telling_version(self.mine(), pk):
            bookings.hand_over(
                branch=self.branch,
                booking_id=pk,
                version=body["version"],
                machine_id=body["machine"],
                until=body["until"],
                travel_after_min=body["road_min"],
                why=one_line(body["why"], most=WHY_MOST),
                by=self.by(),
                now=self.now,
            )
        return self.shown(pk)


class BookingUndo(BookingView):
    """The last change of one booking, taken back."""

    @extend_schema(
        operation_id="bookings_undo",
        parameters=[BranchQuery],
        request=VersionBody,
        responses=answers(200, BookingAnswer, *CHANGE),
    )
    def post(self, request: Request, pk: int) -> Response:
        """Take the last move, call-off, confirmation or hand-over back."""
        self.query(BranchQuery)
        version = self.body(VersionBody).validated_data["version"]
        with telling_version(self.mine(), pk):
            booking = bookings.undo(
                branch=self.branch, booking_id=pk, version=version, by=self.by(), now=self.now
            )
        judge_booking(booking, now=self.now)
        return self.shown(pk)
