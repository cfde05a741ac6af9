"""Refusals as problem details. RFC 9457 section 3.1: members type, title, status, detail."""

import pytest
from rest_framework.exceptions import MethodNotAllowed, Throttled, ValidationError
from rest_framework.parsers import JSONParser
from rest_framework.response import Response
from rest_framework.test import APIRequestFactory
from rest_framework.views import APIView

from jobs.refusals import Busy, Refusal, Stale


def reply_to(error, *, method="get", data=None):
    class Refusing(APIView):
        authentication_classes = ()
        permission_classes = ()
        parser_classes = (JSONParser,)

        def get(self, request):
            raise error

        def post(self, request):
            return Response(request.data)

    request = getattr(APIRequestFactory(), method)("/", data=data, content_type="application/json")
    return Refusing.as_view()(request).render()


def test_a_refusal_is_a_problem_with_its_sentence():
    reply = reply_to(Stale("Ann moved this booking at 9:40.", field="version"))

    assert reply.status_code == 409
    assert reply["Content-Type"] == "application/problem+json"
    assert reply.data == {
        "type": "about:blank",
        "title": "Conflict",
        "status": 409,
        "code": "stale",
        "detail": "Ann moved this booking at 9:40.",
        "field": "version",
    }


def test_a_refusal_without_a_field_names_none():
    assert "field" not in reply_to(Refusal("No.")).data


def test_busy_says_when_to_ask_again():
    reply = reply_to(Busy("Please try again in a moment."))

    assert (reply.status_code, reply["Retry-After"]) == (503, "1")


def test_wrong_input_lists_the_fields():
    reply = reply_to(ValidationError({"area_m2": ["A number is required."]}))

    assert (reply.status_code, reply.data["code"]) == (400, "invalid")
    assert reply.data["errors"] == {"area_m2": ["A number is required."]}


@pytest.mark.parametrize("error", [MethodNotAllowed("TRACE"), Throttled(wait=7)])
def test_the_frameworks_refusals_take_the_same_form(error):
    reply = reply_to(error)

    assert reply["Content-Type"] == "application/problem+json"
    assert reply.data["status"] == reply.status_code == error.status_code
    assert isinstance(reply.data["detail"], str)


def test_headers_of_the_framework_stay():
    assert reply_to(Throttled(wait=7))["Retry-After"] == "7"


def test_a_fault_of_ours_is_not_dressed_up_as_a_refusal():
    with pytest.raises(ZeroDivisionError):
        reply_to(ZeroDivisionError())
