"""Many people press at once for one crew-day, over HTTP: one books it, all others hear who has it.

`pytest tests/dispatch/battery/test_over_http.py -s` prints how long the presses took.
"""

import os
import threading
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from statistics import quantiles

import psycopg
import pytest

from tests import servers
from tests.office_on_the_web import Desk, Office, hidden, office_at

PATIENCE_S = 120


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request, tmp_path) -> Iterator[str | Path]:
    if request.param == "sqlite":
        yield tmp_path / "race.sqlite3"
        return
    try:
        with servers.postgres() as cluster:
            address = f"postgresql://postgres@127.0.0.1:{cluster.port}"
            with psycopg.connect(f"{address}/postgres", autocommit=True) as root:
                root.execute("CREATE DATABASE race")
            yield f"{address}/race"
    except servers.Missing as missing:
        pytest.skip(str(missing))


class Person:
    """Somebody at a desk of their own, with a floor of their own."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.answers: list[tuple[int, float, str]] = []

    def press(self, offer: str) -> None:
        """Ask for this day; keep the status, the seconds and what was said."""
        begun = time.monotonic()
        answer = self.desk.post(
            f"/floors/{self.desk.job}/book/", **{**self.desk.form, "offer": offer}
        )
        self.answers.append((answer.status_code, time.monotonic() - begun, answer.text))
        self.won = answer.headers.get("Location", "")

    def give_back(self) -> None:
        """Call the booking off, so that everybody can ask for the day again."""
        page = self.desk.get(self.won)
        token = hidden(page, "csrfmiddlewaretoken")
        told = {"csrfmiddlewaretoken": token, "version": hidden(page, "version"), "why": "again"}
        assert self.desk.post(f"{self.won}call-off/", **told).status_code == 302
        self.desk.jobs.insert(0, self.desk.job)
        self.desk.open_next()


def people(site: servers.Site, office: Office, count: int) -> list[Person]:
    """Everybody of one sign-in, since many of one account would be taken for guessing."""
    first = Desk(site, office)
    return [Person(first), *(Person(first.beside(job)) for job in office.seeded["jobs"][1:count])]


def race_over_http(database, folder: Path, *, count: int, rounds: int) -> list[float]:
    office = office_at(database, jobs=count)
    words = ("--threads", "8", "--workers", "2")
    with servers.web(folder=folder, settings={"DATABASE": office.url}, words=words) as site:
        desks = people(site, office, count)
        offer = desks[0].desk.form["offer"]
        begun = time.monotonic()
        for _ in range(rounds):
            at_once([lambda each=each: each.press(offer) for each in desks])
            winners = [each for each in desks if each.answers[-1][0] == 302]
            assert len(winners) == 1, Counter(each.answers[-1][0] for each in desks)
            losers = [each.answers[-1] for each in desks if each is not winners[0]]
            assert {status for status, *_ in losers} == {409}
            assert all("is already booked" in text for *_, text in losers)
            winners[0].give_back()
        spent = time.monotonic() - begun
    assert office.look().broken == []
    took = [seconds for each in desks for _, seconds, _ in each.answers]
    tell(office, took, spent, count=count, rounds=rounds)
    return took


def at_once(works) -> None:
    """Each in a thread of its own, all let go at the same instant."""
    gate = threading.Barrier(len(works))

    def run(work) -> None:
        gate.wait(PATIENCE_S)
        work()

    threads = [threading.Thread(target=run, args=(work,)) for work in works]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(PATIENCE_S)


def tell(office: Office, took: list[float], spent: float, *, count: int, rounds: int) -> None:
    cuts = quantiles(took, n=100)
    engine = "sqlite" if isinstance(office.database, Path) else "postgresql"
    line = (
        f"\n{count} people x {rounds} rounds on {engine}: {len(took) / spent:.0f} presses/s, "
        f"p50 {1000 * cuts[49]:.0f}, p95 {1000 * cuts[94]:.0f}, longest {1000 * max(took):.0f} ms; "
        f"load {os.getloadavg()[0]:.1f}\n"
    )
    os.write(1, line.encode())


def test_of_five_people_at_once_one_books_the_day(database, tmp_path):
    race_over_http(database, tmp_path, count=5, rounds=2)


@pytest.mark.long
def test_of_fifty_people_at_once_one_books_the_day_again_and_again(database, tmp_path):
    race_over_http(database, tmp_path, count=50, rounds=10)
