"""A server that means harm: no answer costs much time or memory, and nothing bad is stored.

Each attack comes over a real connection and goes the whole way of a refresh, as it would at
night with nobody watching. Sockets that drip are tested with a deadline of a second.
"""

import gzip
import json
import resource
import socket
import threading
import time
import tracemalloc
from datetime import UTC, timedelta
from pathlib import Path

import numpy as np
import pytest

from tests.weather import replies
from tests.weather.conftest import Reply
from tests.weather.replies import HOUR, ISSUED, at, grid, layer, point, step
from weather import http, services
from weather.models import Forecast, PastDay, PlaceServiceState, ServiceState
from weather.reads import hours_at, latest_forecast
from weather.services import Outcome

pytestmark = pytest.mark.django_db

NOW = ISSUED + HOUR
POINT = "/points/33.5,-86.8"
GRID = "/gridpoints/BMX/59,84"
METNO = "/complete"
JSON = "application/json"
GEO = "application/geo+json"
DEADLINE_S = 1.0
MOST_MEMORY = 20_000_000


@pytest.fixture
def place():
    return services.place_for(latitude=33.5, longitude=-86.8, zone="America/Chicago")


@pytest.fixture(autouse=True)
def short_deadline(monkeypatch):
    monkeypatch.setattr(http, "DEADLINE_S", DEADLINE_S)


@pytest.fixture
def services_down(nws, metno):
    """The US service names its cell; what the cell says is the attack; Norway is away."""
    nws.say(POINT, point())
    metno.say(METNO, Reply(b"", status=404, kind="text/html"))
    return nws


class Cost:
    """Seconds and the highest memory Python held while a block ran."""

    def __enter__(self):
        tracemalloc.start()
        self.began = time.monotonic()
        return self

    def __exit__(self, *_error):
        self.seconds = time.monotonic() - self.began
        self.memory = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()


def raw(text: str) -> Reply:
    return Reply(text.encode(), kind=GEO)


def spiked(needle: str, instead: str) -> Reply:
    """A good grid in whose text one number is replaced."""
    return raw(json.dumps(grid()).replace(needle, instead, 1))


AIR = '"value": 10'
GOOD = json.dumps(grid())
REFUSED = {
    "a sign-in page with 200": Reply(b"<html>Please sign in</html>", kind="text/html"),
    "a sign-in page called JSON": Reply(b"<html>Please sign in</html>", kind=GEO),
    "an empty body": Reply(b"", kind=GEO),
    "nothing but spaces": Reply(b" " * 100_000, kind=GEO),
    "a body shorter than announced": Reply(grid(), cut=True, headers={"Connection": "close"}),
    "half a document": raw(GOOD[: len(GOOD) // 2]),
    "two documents in a row": raw(GOOD + GOOD),
    "NaN": spiked(AIR, '"value": NaN'),
    "Infinity": spiked(AIR, '"value": -Infinity'),
    "1e999": spiked(AIR, '"value": 1e999'),
    "an integer of 5,000 digits": spiked(AIR, f'"value": {"9" * 5000}'),
    "brackets 100,000 deep": raw("[" * 100_000),
    "objects 2,000 deep": raw('{"a":' * 2000 + "1" + "}" * 2000),
    "a key that is said twice": raw(
        GOOD.replace('"updateTime"', '"updateTime": "2026-03-10T12:20:00Z", "updateTime"', 1)
    ),
    "a key that is said twice among fifty thousand": raw(
        "{" + ",".join(f'"{i}":1' for i in range(50_000)) + ',"49999":1}'
    ),
    "a million empty lists": raw('{"a": [' + "[]," * 1_000_000 + "[]]}"),
    "a million empty objects": raw('{"a": [' + "{}," * 1_000_000 + "{}]}"),
    "a list": raw("[1, 2, 3]"),
    "a word": raw('"fine"'),
    "null": raw("null"),
    "UTF-16": Reply(GOOD.encode("utf-16"), kind=GEO),
    "bytes that are no text": Reply(b"\xff\xfe\xfd" * 1000, kind=GEO),
    "NUL bytes": Reply(b"\x00" * 10_000, kind=GEO),
    "an encoding that was not asked for": Reply(grid(), headers={"Content-Encoding": "br"}),
    "gzip that is none": Reply(b"plain", headers={"Content-Encoding": "gzip"}),
    "gzip that is cut off": Reply(
        gzip.compress(GOOD.encode())[:-9], headers={"Content-Encoding": "gzip"}
    ),
    "gzip twice": Reply(
        gzip.compress(gzip.compress(GOOD.encode())), headers={"Content-Encoding": "gzip"}
    ),
    "5 MB": raw('{"a": "' + "x" * 5_000_000 + '"}'),
    "a redirect to a file": Reply({}, status=302, headers={"Location": "file:///etc/passwd"}),
    "a redirect to itself": Reply({}, status=302, headers={"Location": GRID}),
    "a redirect to nowhere": Reply({}, status=302),
    "206, a part": Reply(grid(), status=206),
    "204, nothing": Reply(b"", status=204),
    "300 choices": Reply({}, status=300),
    "418": Reply({}, status=418),
    "no properties": raw("{}"),
    "properties that are a list": raw('{"properties": [1]}'),
    "an issue without an offset": Reply(grid(updateTime="2026-03-10T12:20:00")),
    "an issue in the year 9999": Reply(grid(updateTime="9999-12-31T23:59:59+00:00")),
    "an issue in the year 1": Reply(grid(updateTime="0001-01-01T00:00:00+14:00")),
    "an issue tomorrow": Reply(grid(issued=ISSUED + timedelta(days=1))),
    "400 days ahead": Reply(grid(temperature=layer("degC", (0, "P400D", 10)))),
    "a duration of a month": Reply(grid(temperature=layer("degC", (0, "P1M", 10)))),
    "a duration that overflows": Reply(grid(temperature=layer("degC", (0, "P999D", 10)))),
    "a time that is no text": Reply(
        grid(temperature={"uom": "wmoUnit:degC", "values": [{"validTime": 5}]})
    ),
    "no unit": Reply(grid(temperature={"values": layer("", (0, "P2D", 10))["values"]})),
    "another unit": Reply(grid(temperature=layer("degF", (0, "P2D", 50)))),
    "air of 900 degrees": Reply(grid(temperature=layer("degC", (0, "P2D", 900)))),
    "text for numbers": Reply(grid(temperature=layer("degC", (0, "P2D", "10")))),
    "true for numbers": Reply(grid(temperature=layer("degC", (0, "P2D", True)))),
    "rain of 90 meters": Reply(
        grid(quantitativePrecipitation=layer("mm", *((i, "PT1H", 90_000) for i in range(48))))
    ),
    "a polygon of words": Reply({**grid(), "geometry": {"coordinates": [[["a", "b"]]]}}),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_bad_answer_is_refused_stores_nothing_and_costs_little(services_down, place, name):
    services_down.say(GRID, REFUSED[name])

    with Cost() as cost:
        result = services.refresh(place, now=NOW)

    assert result.outcome is Outcome.FAILED, name
    assert result.reasons, name
    assert not Forecast.objects.exists()
    assert not PastDay.objects.exists()
    assert cost.seconds < 5 * DEADLINE_S + 1
    # The document, its text and its parts; a cap of 4 MB is decoded at most once at a time.
    assert cost.memory < MOST_MEMORY


def resident_bytes() -> int:
    """What this process holds in memory, also what Python's own count does not see."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * resource.getpagesize()


def test_the_whole_battery_again_and_again_leaves_nothing_behind(services_down, place):
    services_down.say(GRID, grid())
    services.refresh(place, now=NOW)
    held = []

    for _ in range(3):
        for name, reply in REFUSED.items():
            ServiceState.objects.all().delete()
            PlaceServiceState.objects.all().delete()
            services_down.say(GRID, reply)
            assert services.refresh(place, now=NOW + HOUR).outcome is Outcome.FAILED, name
            assert latest_forecast(place, now=NOW + HOUR).issued_at == ISSUED, name
        held.append(resident_bytes())

    assert Forecast.objects.count() == 1
    # The first time the allocator takes room for the largest answers, the server's own included.
    assert held[-1] - held[0] < MOST_MEMORY


def test_a_byte_order_mark_is_no_attack(services_down, place):
    services_down.say(GRID, Reply(b"\xef\xbb\xbf" + GOOD.encode(), kind=GEO))

    assert services.refresh(place, now=NOW).outcome is Outcome.STORED


def test_after_an_attack_the_forecast_that_was_held_still_counts(services_down, place):
    services_down.say(GRID, grid())
    services.refresh(place, now=NOW)
    services_down.say(GRID, REFUSED["1e999"])

    services.refresh(place, now=NOW + 2 * HOUR)

    assert latest_forecast(place, now=NOW + 2 * HOUR).issued_at == ISSUED


def test_a_gzip_bomb_is_refused_within_the_cap(services_down, place):
    packed = gzip.compress(b" " * 200_000_000 + b"{}")
    services_down.say(GRID, Reply(packed, headers={"Content-Encoding": "gzip"}))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

    with Cost() as cost:
        result = services.refresh(place, now=NOW)

    grown_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert result.outcome is Outcome.FAILED
    assert "longer than" in " ".join(result.reasons)
    assert cost.memory < MOST_MEMORY
    assert grown_kb < 40_000


@pytest.mark.parametrize(
    "reply",
    [Reply(grid(), drip_s=0.05), Reply({}, drip_s=0.05, drip_headers=True)],
    ids=["body", "headers"],
)
def test_a_server_that_drips_is_cut_off(services_down, place, reply):
    services_down.say(GRID, reply)

    with Cost() as cost:
        result = services.refresh(place, now=NOW)

    assert result.outcome is Outcome.FAILED
    assert "too slow" in " ".join(result.reasons)
    assert cost.seconds < 6 * DEADLINE_S


def test_services_that_all_drip_take_no_more_than_one_places_share(
    services_down, metno_service, open_meteo, place, monkeypatch
):
    """Each alone keeps its deadline; together they would hold up the places behind this one."""
    monkeypatch.setattr(services, "PLACE_S", 1.5 * DEADLINE_S)
    services_down.say(GRID, Reply(grid(), drip_s=0.05))
    metno_service.say(METNO, Reply(replies.metno(), kind=JSON, drip_s=0.05))
    open_meteo.say("/forecast", Reply({}, kind=JSON, drip_s=0.05))

    with Cost() as cost:
        result = services.refresh(place, now=NOW)

    assert result.outcome is Outcome.FAILED
    assert "no time was left" in " ".join(result.reasons)
    assert cost.seconds < 2.5 * DEADLINE_S
    assert open_meteo.seen == []
    assert ServiceState.objects.get(service="open_meteo").failures == 0  # it is not to blame


@pytest.mark.parametrize("said", [b"", b"HTTP/1.1 200", b"\x00\xff" * 4000, b"hello\r\n\r\n"])
def test_a_server_that_speaks_no_http_is_left(services_down, place, settings, said):
    """It takes the connection, says something, and stays silent or hangs up."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        stop = threading.Event()

        def serve():
            server.settimeout(0.1)
            while not stop.is_set():
                try:
                    caller, _ = server.accept()
                except OSError:
                    continue
                caller.sendall(said)
                if said:
                    caller.close()

        worker = threading.Thread(target=serve, daemon=True)
        worker.start()
        settings.NWS_URL = f"http://127.0.0.1:{port}"

        with Cost() as cost:
            result = services.refresh(place, now=NOW)

        stop.set()
        worker.join()
    assert result.outcome is Outcome.FAILED
    assert cost.seconds < 6 * DEADLINE_S


def test_a_header_that_never_ends_is_refused(services_down, place):
    services_down.say(GRID, Reply({}, headers={f"X-{i}": "y" * 900 for i in range(300)}))

    assert services.refresh(place, now=NOW).outcome is Outcome.FAILED


@pytest.mark.parametrize("location", ["http://169.254.169.254/latest", "//127.0.0.1:9/x", "\\\\x"])
def test_a_redirect_elsewhere_is_never_followed(services_down, place, location):
    services_down.say(GRID, Reply({}, status=307, headers={"Location": location}))

    with Cost() as cost:
        result = services.refresh(place, now=NOW)

    assert result.outcome is Outcome.FAILED
    assert cost.seconds < 2 * DEADLINE_S


@pytest.mark.parametrize(
    ("asked", "longest"),
    [
        ("99999999999", timedelta(hours=6, minutes=2)),
        ("Fri, 01 Jan 2099 00:00:00 GMT", timedelta(hours=6, minutes=2)),
        ("-5", timedelta(minutes=70)),
        ("soon", timedelta(minutes=70)),
        ("1e9", timedelta(minutes=70)),
        ("²", timedelta(minutes=70)),
        ("", timedelta(minutes=70)),
    ],
)
def test_a_wait_that_is_asked_for_is_believed_up_to_six_hours(services_down, place, asked, longest):
    headers = {"Retry-After": asked.encode("utf-8").decode("latin-1")}
    services_down.say(GRID, Reply({}, status=429, headers=headers))

    with Cost() as cost:
        services.refresh(place, now=NOW)

    state = ServiceState.objects.get(service="nws")
    assert NOW < state.not_before <= NOW + longest
    assert cost.seconds < 3 * DEADLINE_S


@pytest.mark.parametrize("expires", ["Fri, 01 Jan 2099 00:00:00 GMT", "never", "0", "-1"])
def test_an_answer_that_never_expires_is_asked_for_again_after_two_hours(
    services_down, place, expires
):
    services_down.say(GRID, Reply(grid(), headers={"Expires": expires}))
    services.refresh(place, now=NOW)
    asked = services_down.paths().count(GRID)

    services.refresh(place, now=NOW + timedelta(hours=2, minutes=1))

    assert services_down.paths().count(GRID) == asked + 1


def test_one_bad_hour_is_dropped_and_what_is_stored_is_finite_and_in_order(services_down, place):
    air = layer("degC", (0, "PT5H", 10), (5, "PT1H", 900), (6, "P1DT18H", 12))
    services_down.say(GRID, grid(temperature=air))

    services.refresh(place, now=NOW)

    stored = latest_forecast(place, now=NOW)
    for name, values in stored.layers.items():
        assert len(values) == stored.count, name
        assert all(value is None or np.isfinite(value) for value in values), name
    assert stored.hours().start.tzinfo is UTC or stored.hours().start.utcoffset() == timedelta()
    assert (
        np.isnan(hours_at(place, now=NOW).between(stored.start, stored.hours().end).air_c).sum()
        == 1
    )


@pytest.mark.parametrize(
    "steps",
    [
        [step(3, one=0.0), step(1, one=0.0)],
        [step(1, one=0.0), step(1, one=0.0)],
        [step(0.5, one=0.0)],
        [step(0, one=0.0), step(24 * 400)],
        [{"time": at(0), "data": []}],
        ["step"],
        [],
    ],
)
def test_norway_in_disorder_is_refused_too(nws, metno_service, place, steps):
    nws.say(POINT, Reply(b"", status=500, kind="text/html"))
    document = replies.metno(*([step(0)] if not steps else []))
    document["properties"]["timeseries"] = steps
    metno_service.say(METNO, Reply(document, kind=JSON))

    assert services.refresh(place, now=NOW).outcome is Outcome.FAILED
    assert not Forecast.objects.exists()


@pytest.fixture
def metno_service(start_service, settings):
    service = start_service()
    settings.METNO_URL = service.url
    return service
