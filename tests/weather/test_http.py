"""The one door to the network, against a real server that behaves badly."""

import time
from datetime import UTC, datetime

import pytest

from tests.weather.conftest import Reply
from weather import http
from weather.answers import BadAnswer

ACCEPT = "application/geo+json"


def get(service, path="/points/33.5,-86.8", **words):
    return http.get_json(service.url, path, accept=ACCEPT, **words)


def test_a_document_comes_with_what_the_service_said_of_its_age(nws):
    stamp = "Tue, 10 Mar 2026 12:00:00 GMT"
    nws.say(
        "/points/33.5,-86.8", Reply({"a": 1}, headers={"Last-Modified": stamp, "Expires": stamp})
    )

    answer = get(nws)

    assert answer.document == {"a": 1}
    assert answer.last_modified == stamp
    assert answer.expires_at == datetime(2026, 3, 10, 12, tzinfo=UTC)


def test_we_say_who_we_are_and_what_we_read(nws):
    nws.say("/points/33.5,-86.8", {"a": 1})

    get(nws)

    headers = nws.seen[0].headers
    assert "ops@floors.example" in headers["User-Agent"]
    assert headers["Accept"] == ACCEPT
    assert headers["Accept-Encoding"] == "gzip"


@pytest.mark.parametrize(
    "contact", ["", "  ", "ops@floors.example\r\nX-Evil: 1", "büro@floors.example"]
)
def test_without_an_honest_contact_nothing_is_asked(nws, settings, contact):
    settings.FORECAST_CONTACT = contact

    with pytest.raises(http.NoContact, match="SLABCAST_FORECAST_CONTACT"):
        get(nws)

    assert nws.seen == []


def test_gzip_is_unpacked(nws):
    nws.say("/points/33.5,-86.8", Reply({"a": "b" * 5000}, packed=True))

    assert get(nws).document == {"a": "b" * 5000}


def test_a_gzip_bomb_is_refused_under_the_cap(nws):
    nws.say("/points/33.5,-86.8", Reply(b" " * 60_000_000 + b"{}", packed=True))

    with pytest.raises(BadAnswer, match="longer than"):
        get(nws)


@pytest.mark.parametrize(
    ("reply", "reason"),
    [
        (Reply(b"<html>Sign in</html>", kind="text/html"), "not JSON"),
        (Reply({"a": 1}, kind=""), "not JSON"),
        (Reply(b'{"a": NaN}'), "NaN"),
        (Reply({"a": 1}, headers={"Content-Encoding": "br"}), "encoded"),
        (Reply(b"not gzip", headers={"Content-Encoding": "gzip"}), "gzip"),
        (Reply(b"x" * 4_100_000), "longer than"),
    ],
)
def test_a_useless_answer_is_refused_by_name(nws, reply, reason):
    nws.say("/points/33.5,-86.8", reply)

    with pytest.raises(BadAnswer, match=reason):
        get(nws)


def test_one_redirect_on_the_same_host_is_followed(nws):
    nws.say(
        "/points/33.50,-86.8", Reply({}, status=301, headers={"Location": "/points/33.5,-86.8"})
    )
    nws.say("/points/33.5,-86.8", {"a": 1})

    assert get(nws, "/points/33.50,-86.8").document == {"a": 1}


def test_a_redirect_to_another_host_is_not_followed(nws, start_service):
    inside = start_service()
    inside.say("/secret", {"a": 1})
    nws.say(
        "/points/33.5,-86.8", Reply({}, status=302, headers={"Location": f"{inside.url}/secret"})
    )

    with pytest.raises(BadAnswer, match="another host"):
        get(nws)

    assert inside.seen == []


def test_a_ring_of_redirects_ends(nws):
    nws.say("/points/33.5,-86.8", Reply({}, status=302, headers={"Location": "/points/33.5,-86.8"}))

    with pytest.raises(BadAnswer, match="again and again"):
        get(nws)

    assert len(nws.seen) == 2


def test_a_host_that_is_not_in_the_settings_is_never_asked(nws, start_service):
    stranger = start_service()

    with pytest.raises(http.Trouble, match="not a forecast service"):
        get(stranger)

    assert stranger.seen == []


def test_a_service_elsewhere_must_be_asked_over_https(nws, settings):
    settings.NWS_URL = "http://forecast.example"

    with pytest.raises(http.Trouble, match="https"):
        http.get_json("http://forecast.example", "/points/1,1", accept=ACCEPT)


def test_the_machines_proxy_settings_are_ignored(nws, monkeypatch):
    monkeypatch.setenv("HTTP_PROXY", "http://127.0.0.1:9")
    monkeypatch.delenv("NO_PROXY", raising=False)
    nws.say("/points/33.5,-86.8", {"a": 1})

    assert get(nws).document == {"a": 1}


# 500 and 503 for a moment are everyday behaviour of api.weather.gov (weather-gov/api, public
# threads 19, 29, 76, 160).
@pytest.mark.parametrize("status", [429, 500, 502, 503, 504])
def test_a_passing_error_is_tried_again_twice(nws, status):
    nws.say(
        "/points/33.5,-86.8", Reply({}, status=status), Reply({}, status=status), Reply({"a": 1})
    )

    assert get(nws).document == {"a": 1}
    assert len(nws.seen) == 3


def test_an_error_that_stays_is_raised_with_its_kind(nws):
    body = {"type": "https://api.weather.gov/problems/ForecastGridExpired"}
    nws.say("/points/33.5,-86.8", Reply(body, status=503, kind="application/problem+json"))

    with pytest.raises(http.Refused, match="ForecastGridExpired") as caught:
        get(nws)

    assert (caught.value.status, caught.value.kind, len(nws.seen)) == (503, "place", 3)


@pytest.mark.parametrize("status", [400, 403, 404, 422])
def test_a_lasting_error_is_not_tried_again(nws, status):
    nws.say("/points/33.5,-86.8", Reply(b"<html>", status=status, kind="text/html"))

    with pytest.raises(http.Refused) as caught:
        get(nws)

    assert len(nws.seen) == 1
    assert caught.value.kind == ("stop" if status == 403 else "place")


def test_a_newer_problem_name_is_read_too(nws):
    body = {"type": "urn:noaa:nws:api:InvalidPoint"}
    nws.say("/points/33.5,-86.8", Reply(body, status=404, kind="application/problem+json"))

    with pytest.raises(http.Refused) as caught:
        get(nws)

    assert caught.value.problem == "InvalidPoint"


def test_a_long_retry_after_is_not_slept_but_told(nws):
    nws.say("/points/33.5,-86.8", Reply({}, status=429, headers={"Retry-After": "3600"}))
    began = time.monotonic()

    with pytest.raises(http.Refused) as caught:
        get(nws)

    assert caught.value.retry_after_s == 3600
    assert time.monotonic() - began < 2
    assert len(nws.seen) == 1


@pytest.mark.parametrize("text", ["-5", "soon", "", "99999999999999", "²"])
def test_a_senseless_retry_after_is_ignored(text):
    assert http.retry_after_s(text) == 0


def test_a_body_that_drips_is_cut_off_at_the_deadline(nws, monkeypatch):
    monkeypatch.setattr(http, "DEADLINE_S", 1.0)
    nws.say("/points/33.5,-86.8", Reply({"a": "b" * 1000}, drip_s=0.05))
    began = time.monotonic()

    with pytest.raises(http.Unreachable, match="too slow"):
        get(nws)

    assert time.monotonic() - began < 3


def test_headers_that_drip_are_cut_off_at_the_deadline(nws, monkeypatch):
    monkeypatch.setattr(http, "DEADLINE_S", 1.0)
    nws.say("/points/33.5,-86.8", Reply({}, drip_s=0.05, drip_headers=True))
    began = time.monotonic()

    with pytest.raises(http.Unreachable, match="too slow"):
        get(nws)

    assert time.monotonic() - began < 3


def test_a_body_shorter_than_announced_is_no_answer(nws):
    nws.say("/points/33.5,-86.8", Reply({"a": 1}, cut=True, headers={"Connection": "close"}))

    with pytest.raises(http.Unreachable):
        get(nws)


def test_a_dead_port_is_unreachable_and_concerns_the_whole_service(nws, settings):
    settings.NWS_URL = "http://127.0.0.1:9"

    with pytest.raises(http.Unreachable) as caught:
        http.get_json(settings.NWS_URL, "/points/1,1", accept=ACCEPT)

    assert caught.value.kind == "service"


def test_nothing_new_is_an_answer_without_a_document(nws):
    nws.say("/points/33.5,-86.8", Reply(b"", status=304))
    stamp = "Tue, 10 Mar 2026 12:00:00 GMT"

    answer = get(nws, if_modified_since=stamp)

    assert answer.document is None
    assert nws.seen[0].headers["If-Modified-Since"] == stamp


def test_a_version_about_to_end_still_answers(nws):
    nws.say("/points/33.5,-86.8", Reply({"a": 1}, status=203))

    answer = get(nws)

    assert (answer.status, answer.document) == (203, {"a": 1})
