"""Notices while senders are killed and Redis loses everything: none is lost, few go twice.

The mail server takes a mail, then thinks before it says so: the moment in which nobody can
tell whether it went. A mail may then go twice, under one number; never not at all.
"""

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from contextlib import ExitStack, closing, suppress
from pathlib import Path

import pytest

from tests import servers
from tests.dispatch.battery.test_without_broker import Broker, Kept, booking, counted
from tests.office_on_the_web import Office, office_at

OPEN = "state IN ('pending', 'sending') AND audience = 'customer'"
SLOTS = 2  # children of the worker: as many mails are under way at once
THINKS_S = 0.15
# Sends what is due as if it were so many seconds later, so that a test need not wait for a lease.
SENDER = """
import sys, django
django.setup()
from datetime import timedelta
from django.utils import timezone
from dispatch.services import sending
print("ready", flush=True)
ahead = timedelta(seconds=int(sys.argv[1]))
while sending.send_due(now=timezone.now() + ahead):
    pass
"""


def mails_of(sink: servers.MailSink) -> Counter[str]:
    return Counter(str(mail["Message-ID"]) for mail in sink.messages)


def settings_of(office: Office, sink: servers.MailSink, folder: Path) -> dict[str, str]:
    return {
        "DATABASE": office.url,
        "STATE_DIR": str(folder),
        "MAIL_HOST": "127.0.0.1",
        "MAIL_PORT": str(sink.port),
        "MAIL_TLS": "0",
        "FORECASTS": "live",  # without a contact nobody is asked
    }


def check(office: Office, sink: servers.MailSink, *, kills: int, what: str) -> None:
    """Nothing lost, nothing overtaken sent at the end, and no more twice than kills allow."""
    sent = counted(office, "state = 'sent' AND audience = 'customer'")
    numbers = mails_of(sink)
    twice = sum(count - 1 for count in numbers.values())
    os.write(
        1,
        f"\n{what}: {sent} sent, {kills} kills, lost {sent - len(numbers)}, twice {twice} of at "
        f"most {kills * SLOTS}; load {os.getloadavg()[0]:.1f}\n".encode(),
    )
    assert counted(office, OPEN) == 0
    assert counted(office, "state IN ('failed', 'held') AND audience = 'customer'") == 0
    assert set(numbers) >= {f"<{number}>" for number in sent_numbers(office)}
    assert twice <= kills * SLOTS
    assert office.look().broken == []


def sent_numbers(office: Office) -> list[str]:
    query = (
        "SELECT id, booking_version FROM dispatch_notice "
        "WHERE state = 'sent' AND audience = 'customer'"
    )
    with closing(sqlite3.connect(office.database, timeout=30)) as db:
        return [f"notice-{pk}-{version}@slabcast.invalid" for pk, version in db.execute(query)]


def test_senders_that_are_killed_lose_nothing(tmp_path):
    office = office_at(tmp_path / "office.sqlite3")
    with booking(office, pause_s=0) as answered:
        servers.wait_for(lambda: len(answered) >= 30, what="thirty bookings", seconds=240)
    kills = 4
    with servers.mail_sink() as sink:
        sink.thinks_s = THINKS_S
        environment = servers.child_environment(
            {"DEMO": "1", **settings_of(office, sink, tmp_path)}
        )
        for number in range(kills + 1):
            process = subprocess.Popen(
                [sys.executable, "-c", SENDER, str(130 * number)],
                cwd=servers.ROOT,
                env=environment,
                stdout=subprocess.PIPE,
            )
            assert process.stdout is not None
            process.stdout.readline()
            if number < kills:
                before = sink.taken
                servers.wait_for(
                    lambda taken=before: sink.taken >= taken + 3, what="mails", seconds=60
                )
                process.send_signal(signal.SIGKILL)
            process.wait(120)
            process.stdout.close()
        check(office, sink, kills=kills, what="Senders killed")


def kill_one(worker: Kept, chance: random.Random) -> None:
    """The whole worker with its children, or one child alone."""
    parent = worker.process.pid
    found = subprocess.run(["pgrep", "-P", str(parent)], capture_output=True, text=True)
    children = [int(pid) for pid in found.stdout.split()]
    with suppress(ProcessLookupError):
        if children and chance.random() < 0.5:
            os.kill(chance.choice(children), signal.SIGKILL)
        else:
            os.killpg(parent, signal.SIGKILL)


@pytest.mark.long
def test_three_hundred_notices_under_fifteen_kills_and_three_losses_of_redis(tmp_path):
    notices, kills, losses = 300, 15, 3
    chance = random.Random(9)
    office = office_at(tmp_path / "office.sqlite3")
    broker = Broker()
    with ExitStack() as stack:
        stack.callback(broker.stop)
        sink = stack.enter_context(servers.mail_sink())
        sink.thinks_s = THINKS_S
        told = {**settings_of(office, sink, tmp_path), "REDIS_URL": broker.url}
        worker = Kept(told, "worker", log=tmp_path / "worker.log")
        stack.callback(worker.end)
        # Two clocks: each due row still goes once.
        for number in range(2):
            stack.callback(Kept(told, "clock", log=tmp_path / f"clock{number}.log").end)
        with booking(office, pause_s=0.1):
            servers.wait_for(lambda: sink.taken > 0, what="the first mail", seconds=120)
            for number in range(kills):
                time.sleep(chance.uniform(2, 4))
                kill_one(worker, chance)
                if number % (kills // losses) == 2:
                    broker.process.kill()
                    broker.process.wait()
                    time.sleep(2)
                    broker.start()
            servers.wait_for(
                lambda: counted(office, "audience = 'customer'") >= notices,
                what=f"{notices} notices",
                seconds=300,
            )
        # A lease of two minutes has to lapse before a killed one is taken up again.
        servers.wait_for(lambda: counted(office, OPEN) == 0, what="the rest", seconds=420)
        check(office, sink, kills=kills, what="Worker killed, Redis lost")
