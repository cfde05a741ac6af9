"""Bookings over the API: read, other days, move, confirm, call off."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer

from dispatch.api import rows
from dispatch.api.asked import BranchQuery, CallOffBody, MoveBody, VersionBody
from dispatch.api.choosing import chosen_offer
from dispatch.api.entrance import BranchView, answers
from dispatch.api.offer_answers import OffersAnswer
from dispatch.api.refusals import telling_version
from dispatch.api.serializers import BookingAnswer
from dispatch.models import OPEN_STATES, Booking
from dispatch.models.bookings import BookingQuerySet
from dispatch.reads.offers import best_days
from dispatch.services import bookings
from dispatch.services.verdicts import judge_booking
from jobs import access
from jobs.refusals import Stale
from jobs.text import one_line

CHANGE = (404, 409, 413, 415, 503)


class BookingView(BranchView):
    """What all addresses of one booking share."""

    serializer_class: type[Serializer[Any]] = BookingAnswer

    def shown(self, pk: int) -> Response:
        """The booking as it is now."""
        booking = rows.booking_of(self.branch, pk)
        return Response(BookingAnswer(booking, context=self.get_serializer_context()).data)

    def mine(self) -> BookingQuerySet:
        """Bookings of the branch, to ask one's version."""
        return Booking.objects.of_branch(self.branch)


class BookingOne(BookingView):
    """One booking."""

    @extend_schema(
        operation_id="bookings_read",
        parameters=[BranchQuery],
        responses=answers(200, BookingAnswer, 404),
    )
    def get(self, request: Request, pk: int) -> Response:
        """One booking with its stints, their verdicts and what is promised."""
        self.query(BranchQuery)
        return self.shown(pk)


class BookingOffers(BookingView):
    """Other days for one booking."""

    reading = access.OFFICE_ROLES
    serializer_class = OffersAnswer

    @extend_schema(
        operation_id="bookings_offers",
        parameters=[BranchQuery],
        responses=answers(200, OffersAnswer, 404, 409),
    )
    def get(self, request: Request, pk: int) -> Response:
        """The best days to move to; the booking's own time counts as free."""
        self.query(BranchQuery)
        booking = rows.booking_of(self.branch, pk)
        with telling_version(self.mine(), pk):
            check_open(booking)
        found = best_days(booking.job, now=self.now, moving=pk)
        context = {**self.get_serializer_context(), "version": booking.version}
        return Response(OffersAnswer(found, context=context).data)


class BookingMove(BookingView):
    """The move of one booking."""

    @extend_schema(
        operation_id="bookings_move",
        parameters=[BranchQuery],
        request=MoveBody,
        responses=answers(200, BookingAnswer, *CHANGE),
    )
    def post(self, request: Request, pk: int) -> Response:
        """Move a booking to one of its offers; the customer is told why."""
        self.query(BranchQuery)
        body = self.body(MoveBody).validated_data
        booking = rows.booking_of(self.branch, pk)
        with telling_version(self.mine(), pk):
            check_open(booking)
            if booking.version != body["version"]:
                raise Stale(
                    f"The booking of {booking.job.customer} was changed by somebody else. "
                    "Please look at it again."
                )
            offer = chosen_offer(self.branch, booking.job, body["offer"], now=self.now, moving=pk)
            moved = bookings.move(
                branch=self.branch,
                booking_id=pk,
                version=body["version"],
                ask=offer.ask(why=one_line(body["why"], most=500)),
                by=self.by(),
                now=self.now,
            )
        judge_booking(moved, now=self.now)
        return self.shown(pk)


class BookingConfirm(BookingView):
    """The confirmation of one booking."""

    @extend_schema(
        operation_id="bookings_confirm",
        parameters=[BranchQuery],
        request=VersionBody,
        responses=answers(200, BookingAnswer, *CHANGE),
    )
    def post(self, request: Request, pk: int) -> Response:
        """Make the planned or held day a confirmed one."""
        self.query(BranchQuery)
        version = self.body(VersionBody).validated_data["version"]
        with telling_version(self.mine(), pk):
            bookings.confirm(
                branch=self.branch, booking_id=pk, version=version, by=self.by(), now=self.now
            )
        return self.shown(pk)


class BookingCallOff(BookingView):
    """The end of one booking."""

    @extend_schema(
        operation_id="bookings_call_off",
        parameters=[BranchQuery],
        request=CallOffBody,
        responses=answers(200, BookingAnswer, *CHANGE),
    )
    def post(self, request: Request, pk: int) -> Response:
        """Call a booking off; its floor waits again in its old place in line."""
        self.query(BranchQuery)
        body = self.body(CallOffBody).validated_data
        with telling_version(self.mine(), pk):
            bookings.call_off(
                branch=self.branch,
                booking_id=pk,
                version=body["version"],
                by=self.by(),
                now=self.now,
                why=one_line(body["why"], most=500),
            )
        return self.shown(pk)


def check_open(booking: Booking) -> None:
    """Refuse a booking that is done or called off."""
    if booking.state not in OPEN_STATES:
        raise bookings.CannotChange(
            f"The booking of {booking.job.customer} is {booking.get_state_display().lower()}."
        )
