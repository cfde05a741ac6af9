"""The broker stops, forgets everything and comes back while the office books: all mail goes out.

Worker, clock and Redis are real, and like on a server a worker that ends is started again: with
these versions of its libraries it ends where Redis stops while it works. `--long` keeps Redis
away for ten minutes with some bookings a second; `-s` prints the figures.
"""

import os
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

import pytest
import redis

from tests import servers
from tests.office_on_the_web import Office, child, office_at

BACKLOG_S = 60  # what waited is sent so soon after Redis is back
OPEN = "state IN ('pending', 'sending') AND audience = 'customer'"


class Broker:
    """A Redis that keeps nothing, on one port, stopped and started again."""

    def __init__(self) -> None:
        self.port = servers.free_port()
        self.url = f"redis://127.0.0.1:{self.port}/0"
        self.start()

    def start(self) -> None:
        words = ["redis-server", "--port", str(self.port), "--bind", "127.0.0.1", "--save", ""]
        try:
            self.process = subprocess.Popen(
                [*words, "--appendonly", "no"], stdout=subprocess.DEVNULL
            )
        except FileNotFoundError:
            pytest.skip("Redis is missing: apt-get install redis-server")
        servers.wait_for(lambda: servers.listens(self.port), what="Redis")

    def stop(self) -> None:
        servers.end(self.process)

    def forget(self) -> None:
        redis.Redis.from_url(self.url).flushall()


class Kept:
    """A process of an installation that is started again whenever it ends, as systemd does."""

    def __init__(self, told: dict[str, str], *words: str, log: Path) -> None:
        self.told, self.words, self.log, self.starts = told, words, log, 0
        self.over = threading.Event()
        self.thread = threading.Thread(target=self._keep, daemon=True)
        self.thread.start()

    def _keep(self) -> None:
        while not self.over.is_set():
            self.starts += 1
            with self.log.open("ab") as output:
                self.process = subprocess.Popen(
                    ["deploy/scripts/serve", *self.words],
                    cwd=servers.ROOT,
                    env=servers.child_environment({"DEMO": "1", **self.told}),
                    stdout=output,
                    stderr=output,
                    start_new_session=True,
                )
            self.process.wait()
            self.over.wait(2)

    def end(self) -> None:
        self.over.set()
        servers.end(self.process)
        self.thread.join(30)


def counted(office: Office, where: str) -> int:
    with closing(sqlite3.connect(office.database, timeout=30)) as db:
        return db.execute(f"SELECT count(*) FROM dispatch_notice WHERE {where}").fetchone()[0]  # noqa: S608


@contextmanager
def booking(office: Office, *, pause_s: float) -> Iterator[list[int]]:
    """Somebody who books all the time; the list grows with what was answered."""
    answered: list[int] = []
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.office_on_the_web", "work_on", str(pause_s)],
        cwd=servers.ROOT,
        env=servers.child_environment({"DEMO": "1", "DATABASE": office.url}),
        stdout=subprocess.PIPE,
        text=True,
    )
    reader = servers.reading(process.stdout, lambda line: answered.append(int(line)))
    try:
        servers.wait_for(lambda: bool(answered), what="the first booking", seconds=60)
        yield answered
        assert process.poll() is None, "the office stopped booking"
    finally:
        servers.end(process)
        reader.join()


def outage(folder: Path, *, seconds: float, pause_s: float) -> None:
    office = office_at(folder / "office.sqlite3")
    broker = Broker()
    with ExitStack() as stack:
        stack.callback(broker.stop)
        sink = stack.enter_context(servers.mail_sink())
        told = {
            "DATABASE": office.url,
            "STATE_DIR": str(folder),
            "REDIS_URL": broker.url,
            "MAIL_HOST": "127.0.0.1",
            "MAIL_PORT": str(sink.port),
            "MAIL_TLS": "0",
            "FORECASTS": "live",  # without a contact nobody is asked
        }
        worker = Kept(told, "worker", log=folder / "worker.log")
        stack.callback(worker.end)
        stack.callback(Kept(told, "clock", log=folder / "clock.log").end)
        with booking(office, pause_s=pause_s) as answered:
            servers.wait_for(lambda: len(sink.messages) > 0, what="the first mail", seconds=90)
            broker.forget()
            broker.stop()
            before, begun = len(answered), time.monotonic()
            time.sleep(seconds)
            booked = len(answered) - before
        waiting = counted(office, OPEN)
        broker.start()
        back = time.monotonic()
        servers.wait_for(lambda: counted(office, OPEN) == 0, what="the backlog", seconds=300)
        drained_s = time.monotonic() - back
    times = {"away_s": back - begun, "starts": worker.starts}
    tell(len(sink.messages), booked, waiting, drained_s, **times)
    assert booked > 0
    assert waiting > 0
    # The clock ticks every half minute, and a busy machine starts it late.
    assert drained_s < BACKLOG_S + 30
    numbers = [mail["Message-ID"] for mail in sink.messages]
    assert len(set(numbers)) == len(numbers)
    assert len(numbers) == counted(office, "state = 'sent' AND audience = 'customer'")
    assert office.look().broken == []


def tell(
    mails: int, booked: int, waiting: int, drained_s: float, *, away_s: float, starts: int
) -> None:
    line = (
        f"\nRedis away for {away_s:.0f} s: {booked} bookings meanwhile, {waiting} mails waited and "
        f"were gone {drained_s:.0f} s after it was back, {mails} in all; the worker was started "
        f"{starts} times; load {os.getloadavg()[0]:.1f}\n"
    )
    os.write(1, line.encode())


def test_what_waited_for_the_broker_goes_out_once_it_is_back(tmp_path):
    outage(tmp_path, seconds=3, pause_s=0.2)


@pytest.mark.long
def test_ten_minutes_without_a_broker(tmp_path):
    outage(tmp_path, seconds=600, pause_s=0.2)


def test_the_command_alone_sends_everything_with_no_broker_there(tmp_path):
    office = office_at(tmp_path / "office.sqlite3")
    with booking(office, pause_s=0.02) as answered:
        servers.wait_for(lambda: len(answered) >= 5, what="some bookings", seconds=60)
    assert counted(office, OPEN) > 0

    with servers.mail_sink() as sink:
        told = {
            "DATABASE": office.url,
            "REDIS_URL": f"redis://127.0.0.1:{servers.free_port()}/0",
            "MAIL_HOST": "127.0.0.1",
            "MAIL_PORT": str(sink.port),
            "MAIL_TLS": "0",
            "FORECASTS": "live",
        }
        child(told, "manage.py", "work", "--once")

    assert counted(office, OPEN) == 0
    assert len(sink.messages) == counted(office, "state = 'sent' AND audience = 'customer'")
