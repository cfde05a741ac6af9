"""Who is in which crew, and who is away, over the API."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from dispatch.api.asked import BranchQuery
from dispatch.api.entrance import BranchView, answers
from dispatch.api.fields import Day, Id, SiteMoment, Strict
from dispatch.api.serializers import NamedAnswer
from dispatch.models import Absence, Installer
from dispatch.reads.staff import staff_of
from dispatch.services import crews
from jobs.refusals import Refusal

CHANGE = (404, 409, 413, 415, 503)


class StayBody(Strict):
    """A person in a crew from one day on, until another if that is known."""

    person = Id()
    from_day = Day()
    until_day = Day(required=False, allow_null=True, default=None)


class AbsenceBody(Strict):
    """Who or what is away, by its resource, from one moment to another, each with its zone."""

    resource = Id()
    start = SiteMoment()
    end = SiteMoment()
    why = serializers.CharField(max_length=160, required=False, allow_blank=True, default="")


class StayAnswer(serializers.Serializer[Any]):
    """A person's stay in a crew."""

    id = serializers.IntegerField(source="pk")
    person = serializers.IntegerField(source="installer_id")
    crew = serializers.IntegerField(source="crew_id")
    from_day = serializers.DateField()
    until_day = serializers.DateField(allow_null=True)


class AbsenceAnswer(serializers.Serializer[Any]):
    """Somebody or something that is away."""

    id = serializers.IntegerField(source="pk")
    resource = serializers.IntegerField(source="resource_id")
    start = serializers.DateTimeField()
    end = serializers.DateTimeField()
    why = serializers.CharField()


class ThingAnswer(NamedAnswer):
    """A crew, person or machine, and the number of what can be in one place only."""

    resource = serializers.IntegerField(source="resource_id")


class StaffAnswer(serializers.Serializer[Any]):
    """Everybody and everything that a branch sends out."""

    crews = ThingAnswer(many=True)
    people = ThingAnswer(many=True)
    machines = ThingAnswer(many=True)
    absences = AbsenceAnswer(many=True)


class Staff(BranchView):
    """The staff of a branch."""

    serializer_class = StaffAnswer

    @extend_schema(
        operation_id="staff_read",
        parameters=[BranchQuery],
        responses=answers(200, StaffAnswer, 404),
    )
    def get(self, request: Request) -> Response:
        """Crews, people, machines, and who is away from now on."""
        self.query(BranchQuery)
        staff = staff_of(self.branch, now=self.now)
        shown = {
            "crews": [each.crew for each in staff.crews],
            "people": list(Installer.objects.of_branch(self.branch)),
            "machines": staff.machines,
            "absences": staff.absences,
        }
        return Response(StaffAnswer(shown).data)


class CrewPeople(BranchView):
    """The people of one crew."""

    serializer_class = StayAnswer

    @extend_schema(
        operation_id="crews_join",
        parameters=[BranchQuery],
        request=StayBody,
        responses=answers(201, StayAnswer, *CHANGE),
    )
    def post(self, request: Request, pk: int) -> Response:
        """Put a person into a crew from a day on; an open stay elsewhere ends the day before."""
        self.query(BranchQuery)
        body = self.body(StayBody).validated_data
        stay = crews.join_crew(
            branch=self.branch,
            crew_id=pk,
            installer_id=body["person"],
            from_day=body["from_day"],
            until_day=body["until_day"],
            by=self.by(),
            now=self.now,
        )
        return Response(StayAnswer(stay).data, status=201)


class Absences(BranchView):
    """Absences of a branch."""

    serializer_class = AbsenceAnswer

    @extend_schema(
        operation_id="absences_create",
        parameters=[BranchQuery],
        request=AbsenceBody,
        responses=answers(201, AbsenceAnswer, *CHANGE),
    )
    def post(self, request: Request) -> Response:
        """Take a person, crew or machine out for a while; refused where it is booked."""
        self.query(BranchQuery)
        body = self.body(AbsenceBody).validated_data
        for name in ("start", "end"):
            if body[name].tzinfo is None:
                raise Refusal("Please give the moment with its zone.", field=name)
        absence: Absence = crews.add_absence(
            branch=self.branch,
            resource_id=body["resource"],
            start=body["start"],
            end=body["end"],
            why=body["why"],
            by=self.by(),
            now=self.now,
        )
        return Response(AbsenceAnswer(absence).data, status=201)


class AbsenceEnd(BranchView):
    """The end of one absence."""

    serializer_class = ThingAnswer

    @extend_schema(
        operation_id="absences_end",
        parameters=[BranchQuery],
        request=None,
        responses=answers(204, None, 404, 503),
    )
    def post(self, request: Request, pk: int) -> Response:
        """Somebody is there again: what is left of the absence is free."""
        self.query(BranchQuery)
        crews.end_absence(branch=self.branch, absence_id=pk, by=self.by(), now=self.now)
        return Response(status=204)
