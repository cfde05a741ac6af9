"""Log lines: an id for each request, and no secret address anywhere."""

import json
import logging

import pytest
from django.http import HttpResponse
from django.test import RequestFactory

from deploy.logs import Json, Line, RequestLog, current_id, without_secrets

SECRET = "q3V9cC1zZWNyZXQtYWRkcmVzcw"  # the shape of a link's key, opening nothing


def record(message, *args, error=None):
    info = (type(error), error, error.__traceback__) if error else None
    return logging.LogRecord("weather", logging.ERROR, "file", 1, message, args, info)


@pytest.mark.parametrize("address", ["/c/{}/", "/p/{}/12/stamp/", "/feeds/{}.ics", "'/c/{}'"])
@pytest.mark.parametrize("formatter", [Line, Json])
def test_no_line_holds_a_secret_address(formatter, address):
    text = formatter().format(record("Not Found: %s", address.format(SECRET)))

    assert SECRET not in text
    assert "(secret)" in text


def test_a_traceback_holds_none_either():
    try:
        raise ValueError(f"https://office.example/c/{SECRET}/floor.ics broke")
    except ValueError as error:
        text = Line().format(record("broken", error=error))

    assert SECRET not in text
    assert "ValueError" in text


def test_other_addresses_are_left_alone():
    assert without_secrets("Not Found: /bookings/12/") == "Not Found: /bookings/12/"


def test_a_line_as_json_says_which_request():
    token = current_id.set("abcdef12")
    try:
        entry = json.loads(Json().format(record("was %s", "slow")))
    finally:
        current_id.reset(token)

    assert (entry["request"], entry["message"], entry["level"]) == ("abcdef12", "was slow", "ERROR")


@pytest.fixture
def answered():
    seen = []

    def ask(**headers):
        def view(request):
            seen.append(current_id.get())
            return HttpResponse("fine")

        return RequestLog(view)(RequestFactory().get("/", **headers)), seen

    return ask


def test_a_request_gets_an_id_that_goes_back_with_the_answer(answered):
    reply, seen = answered()

    assert reply["X-Request-ID"] == seen[0]
    assert len(seen[0]) == 32
    assert current_id.get() == "-"


def test_the_id_of_the_proxy_is_kept(answered):
    reply, _ = answered(HTTP_X_REQUEST_ID="front-12345678")

    assert reply["X-Request-ID"] == "front-12345678"


@pytest.mark.parametrize("given", ["short", "x" * 65, "with space 123", "line\nbreak-1234"])
def test_an_id_that_could_forge_a_line_is_not_taken(answered, given):
    reply, seen = answered(HTTP_X_REQUEST_ID=given)

    assert seen[0] != given
    assert len(reply["X-Request-ID"]) == 32


def test_the_route_is_logged_and_not_the_address(client, db, caplog):
    with caplog.at_level(logging.INFO, logger="slabcast.requests"):
        client.get(f"/c/{SECRET}/")

    lines = [entry.getMessage() for entry in caplog.records if entry.name == "slabcast.requests"]
    assert lines[0].startswith("GET /c/<str:token>/ 404 in ")
