"""The week and the latest verdicts over the API, its own page, and what is not there."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from dispatch.api import rows
from dispatch.api.asked import PageQuery, WeekQuery
from dispatch.api.entrance import ANYBODY, BranchView, OfficeOnly, answers
from dispatch.api.serializers import OpenStintAnswer
from dispatch.api.tokens import BearerToken
from dispatch.api.week_answers import WeekAnswer, week_values
from dispatch.models import Stint
from dispatch.reads.week import week_of
from dispatch.views.entrance import OfficeRequest, office
from jobs.models import Role
from jobs.refusals import NotFound


class WeekOne(BranchView):
    """One week."""

    serializer_class = WeekAnswer

    @extend_schema(
        operation_id="week_read", parameters=[WeekQuery], responses=answers(200, WeekAnswer, 404)
    )
    def get(self, request: Request) -> Response:
        """The week that holds a day: weather at the depot, crews and their stints."""
        day = self.query(WeekQuery).get("day") or self.branch.today(self.now)
        week = week_of(self.branch, day=day, now=self.now)
        return Response(WeekAnswer(week_values(week)).data)


class Verdicts(BranchView):
    """What is said of every open stint."""

    serializer_class = OpenStintAnswer

    @extend_schema(
        operation_id="verdicts_latest",
        parameters=[PageQuery],
        responses=answers(200, OpenStintAnswer(many=True), 404),
    )
    def get(self, request: Request) -> Response:
        """The latest verdict on each open stint, soonest first; unknown where none was given."""
        self.query(PageQuery)
        found = rows.with_verdicts(Stint.objects.of_branch(self.branch).open())
        page = self.paginate_queryset(found)
        shown = OpenStintAnswer(page, many=True, context=self.get_serializer_context())
        return self.get_paginated_response(shown.data)


class Nowhere(BranchView):
    """Every other address under /api/, whatever is asked of it."""

    writing = ANYBODY

    @extend_schema(exclude=True)
    def get(self, request: Request, rest: str) -> Response:
        """Refused as a problem, like everything else here."""
        raise NotFound("There is no such address in this API.")

    post = put = patch = delete = get


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """The token in the description of the API."""

    target_class = BearerToken
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        """As OpenAPI 3 writes it."""
        return {"type": "http", "scheme": "bearer"}


class Schema(SpectacularAPIView):
    """The description of the API, for the office."""

    permission_classes = [OfficeOnly]


@require_safe
@office(Role.OWNER, Role.OFFICE)
def docs(request: OfficeRequest) -> HttpResponse:
    """The description as a page on which requests can be tried."""
    return render(request, "dispatch/api_docs.html")
