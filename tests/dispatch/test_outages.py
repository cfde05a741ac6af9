"""Broker, mail server and forecast services away or hung: booking goes on, and quickly.

`pytest tests/dispatch/test_outages.py -s` prints how long each page took.
"""

import os
import socket
import sqlite3
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager

import pytest

from tests import servers
from tests.office_on_the_web import Desk, Office, child, office_at

MOST_S = 2.5  # what any page may take while something it does not need is away


@pytest.fixture(scope="module")
def office(tmp_path_factory) -> Office:
    return office_at(tmp_path_factory.mktemp("outages") / "office.sqlite3")


@contextmanager
def hung() -> Iterator[int]:
    """A port that takes connections and never says a word."""
    with socket.create_server(("127.0.0.1", 0), backlog=64) as silent:
        yield silent.getsockname()[1]


@contextmanager
def stopped() -> Iterator[int]:
    """A port on which nobody listens."""
    yield servers.free_port()


def without(stack: ExitStack, outage) -> dict[str, str]:
    """Settings under which broker, mail and forecasts are where nobody answers."""
    redis, mail, weather = (stack.enter_context(outage()) for _ in range(3))
    return {
        "REDIS_URL": f"redis://127.0.0.1:{redis}/0",
        "MAIL_HOST": "127.0.0.1",
        "MAIL_PORT": str(mail),
        "MAIL_TLS": "0",
        "FORECASTS": "live",
        "FORECAST_CONTACT": "office@dryday.example",
        "NWS_URL": f"http://127.0.0.1:{weather}",
        "METNO_URL": f"http://127.0.0.1:{weather}",
    }


def pressed(desk: Desk, office: Office) -> dict[str, float]:
    """Seconds that each page of a booking took."""
    took = {}

    def timed(name, ask):
        begun = time.monotonic()
        answer = ask()
        took[name] = time.monotonic() - begun
        return answer

    for path in ("/", "/needs/", "/floors/", f"/floors/{desk.job}/days/", "/mail/"):
        timed(path, lambda path=path: desk.get(path))
    booked = timed("book", desk.book)
    assert booked.status_code == 302, booked.text[:500]
    timed("booking", lambda: desk.get(booked.headers["Location"]))
    timed("feed", lambda: desk.get(office.seeded["feed"]))
    timed("healthz", lambda: desk.get("/healthz"))
    return took


def waiting(office: Office) -> int:
    """Mails to customers that wait to go."""
    query = "SELECT count(*) FROM dispatch_notice WHERE state = 'pending' AND audience = 'customer'"
    with closing(sqlite3.connect(office.database)) as db:
        return db.execute(query).fetchone()[0]


def let_time_pass(office: Office) -> None:
    """The pause after a try that failed is over."""
    with closing(sqlite3.connect(office.database)) as db, db:
        db.execute("UPDATE dispatch_notice SET next_try_at = due_at")


@pytest.mark.parametrize("outage", [stopped, hung])
def test_booking_works_and_no_page_waits(office, tmp_path, outage):
    with ExitStack() as stack:
        told = {"DATABASE": office.url, **without(stack, outage)}
        site = stack.enter_context(servers.web(folder=tmp_path, settings=told))
        desk = Desk(site, office)

        took = pressed(desk, office)

        slowest = max(took, key=lambda name: took[name])
        load = os.getloadavg()[0]
        pages = ", ".join(f"{name} {seconds:.2f}" for name, seconds in took.items())
        said = (
            f"{outage.__name__}, load {load:.1f}, slowest {slowest} {took[slowest]:.2f} s: {pages}"
        )
        sys.stdout.write(f"\n{said}\n")
        assert took[slowest] < MOST_S
        office.seeded["jobs"].pop(0)


def test_what_waited_goes_out_when_the_mail_server_is_back(office, tmp_path):
    # Live without a contact asks nobody: a new forecast would owe the customers more mails.
    told = {
        "DATABASE": office.url,
        "MAIL_HOST": "127.0.0.1",
        "MAIL_TLS": "0",
        "FORECASTS": "live",
    }
    with servers.web(folder=tmp_path, settings=told) as site:
        assert Desk(site, office).book().status_code == 302
    owed = waiting(office)
    assert owed > 0

    child({**told, "MAIL_PORT": str(servers.free_port())}, "manage.py", "work", "--once")

    assert waiting(office) == owed
    let_time_pass(office)
    with servers.mail_sink() as sink:
        child({**told, "MAIL_PORT": str(sink.port)}, "manage.py", "work", "--once")
        assert len(sink.messages) == owed
        child({**told, "MAIL_PORT": str(sink.port)}, "manage.py", "work", "--once")
        assert len({mail["Message-ID"] for mail in sink.messages}) == len(sink.messages) == owed
    assert waiting(office) == 0
