"""Floors that wait over the API: the line, taking in, the best days, and booking one."""

from typing import Any

from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from dispatch.api import rows
from dispatch.api.asked import BookBody, BranchQuery, NewFloorsBody, WaitingQuery
from dispatch.api.choosing import chosen_offer
from dispatch.api.entrance import KEY, BranchView, answers
from dispatch.api.offer_answers import OffersAnswer
from dispatch.api.refusals import telling_version
from dispatch.api.serializers import BookingAnswer, FloorAnswer, TakenInAnswer
from dispatch.models import Booking
from dispatch.reads.offers import best_days
from dispatch.reads.waiting import waiting_jobs
from dispatch.services import bookings, links
from dispatch.services.verdicts import judge_booking
from dispatch.views.bookings import HOLD_FOR
from jobs import access, idempotency
from jobs.models import Job, JobState
from jobs.refusals import Invalid, Refusal, Stale
from jobs.rules.new_jobs import NewJob
from jobs.services import intake
from jobs.text import one_line


class Floors(BranchView):
    """The line of floors without a day."""

    serializer_class = FloorAnswer

    @extend_schema(
        operation_id="floors_waiting",
        parameters=[WaitingQuery],
        responses=answers(200, FloorAnswer(many=True), 404),
    )
    def get(self, request: Request) -> Response:
        """Floors without a day, first come first."""
        query = self.query(WaitingQuery)
        looked_for = one_line(query.get("q", ""), most=80)
        found = waiting_jobs(self.branch, looked_for=looked_for).with_floors()
        page = self.paginate_queryset(found)
        shown = FloorAnswer(page, many=True, context=self.get_serializer_context())
        return self.get_paginated_response(shown.data)

    @extend_schema(
        operation_id="floors_take_in",
        parameters=[BranchQuery, KEY],
        request=NewFloorsBody,
        responses=answers(201, TakenInAnswer, 404, 409, 413, 415, 422, 503),
    )
    def post(self, request: Request) -> Response:
        """Take in an order; its floors wait for a day from now on."""
        self.query(BranchQuery)
        key = self.key()
        new = self.body(NewFloorsBody).new_job()
        job = intake.take_in(branch=self.branch, new=new, by=self.by(), now=self.now, key=key)
        context = {**self.get_serializer_context(), "remarks": self._remarks(new)}
        answer = TakenInAnswer(rows.floor_of(self.branch, job.pk), context=context)
        return Response(answer.data, status=status.HTTP_201_CREATED)

    def _remarks(self, new: NewJob) -> tuple[str, ...]:
        try:
            return intake.remarks_on(branch=self.branch, new=new, now=self.now)
        except Invalid:  # a repeat, on a day on which the order would not be taken in any more
            return ()


class FloorOffers(BranchView):
    """The best days of one floor."""

    reading = access.OFFICE_ROLES
    serializer_class = OffersAnswer

    @extend_schema(
        operation_id="floors_offers",
        parameters=[BranchQuery],
        responses=answers(200, OffersAnswer, 404, 409),
    )
    def get(self, request: Request, pk: int) -> Response:
        """The best days for a floor that waits, and why the others are not."""
        self.query(BranchQuery)
        job = rows.floor_of(self.branch, pk)
        with telling_version(Job.objects.of_branch(self.branch), pk):
            check_waiting(job)
        found = best_days(job, now=self.now)
        context = {**self.get_serializer_context(), "version": job.version}
        return Response(OffersAnswer(found, context=context).data)


class FloorBookings(BranchView):
    """The booking of one floor."""

    serializer_class = BookingAnswer

    @extend_schema(
        operation_id="floors_book",
        parameters=[BranchQuery, KEY],
        request=BookBody,
        responses=answers(201, BookingAnswer, 404, 409, 413, 415, 503),
    )
    def post(self, request: Request, pk: int) -> Response:
        """Book or hold one of the offers; whoever loses a race hears who has the day."""
        self.query(BranchQuery)
        key, body = self.key(), self.body(BookBody).validated_data
        job = rows.floor_of(self.branch, pk)
        with telling_version(Job.objects.of_branch(self.branch), pk):
            booking_id = self._booked(job, body, key=key)
        booking = rows.booking_of(self.branch, booking_id)
        answer = BookingAnswer(booking, context=self.get_serializer_context())
        where = {"Location": reverse("api-booking", args=[booking.pk])}
        return Response(answer.data, status=status.HTTP_201_CREATED, headers=where)

    def _booked(self, job: Job, body: dict[str, Any], *, key: str) -> int:
        """The id of the booking that this request makes, or made when it first came."""
        asked = ("book", job.pk, body["offer"], body["version"], body["hold"])
        # The answered come first: once it is booked, the day is no offer any more.
        before = idempotency.answered(by=self.by(), key=key, what=asked)
        if before is not None:
            return before
        try:
            booking = self._book(job, body, key=key, asked=asked)
        except Refusal:
            # A repeat that came at the same time may have been the one that was quicker.
            before = idempotency.answered(by=self.by(), key=key, what=asked)
            if before is None:
                raise
            return before
        links.for_booking(booking, now=self.now)
        judge_booking(booking, now=self.now)
        return booking.pk

    def _book(self, job: Job, body: dict[str, Any], *, key: str, asked: object) -> Booking:
        check_waiting(job)
        if job.version != body["version"]:
            raise Stale(f"{job.customer} was changed by somebody else. Please look at it again.")
        held_until = self.now + HOLD_FOR if body["hold"] else None
        offer = chosen_offer(self.branch, job, body["offer"], now=self.now)
        return bookings.book(
            branch=self.branch,
            job_id=job.pk,
            version=body["version"],
            ask=offer.ask(held_until=held_until, key=key),
            by=self.by(),
            now=self.now,
            asked=asked,
        )


def check_waiting(job: Job) -> None:
    """Refuse a floor that has its day, with who comes when."""
    standing = rows.standing_booking(job)
    if standing is not None:
        said = rows.said_of(standing)
        raise bookings.AlreadyBooked(f"{job.customer} already has a booking: {said}.")
    if job.state != JobState.WAITING:
        raise bookings.AlreadyBooked(f"{job.customer}: {job.get_state_display().lower()}.")
