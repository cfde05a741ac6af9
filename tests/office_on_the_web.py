"""An office in a database of its own, set up and looked at by other processes, booked over HTTP.

For tests that take the database, the broker or the mail server away from a running site.
`python -m tests.office_on_the_web seed` or `look` is what those processes run.
"""

import json
import re
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import requests

from tests import servers

JOBS = 6
SEED = ("-m", "tests.office_on_the_web", "seed")


def child(settings: Mapping[str, str], *words: str) -> str:
    """What a process of ours prints; its complaint is shown when it fails."""
    done = subprocess.run(
        [sys.executable, *words],
        cwd=servers.ROOT,
        env=servers.child_environment({"DEMO": "1", **settings}),
        capture_output=True,
        text=True,
        timeout=180,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@dataclass(frozen=True)
class Look:
    """Rows of each table that a booking writes, and what is broken."""

    rows: dict[str, int]
    broken: list[str]


@dataclass(frozen=True)
class Office:
    """`database` is an address of PostgreSQL or the path of a file."""

    database: str | Path
    seeded: dict[str, Any] = field(default_factory=dict)

    @property
    def url(self) -> str:
        """SLABCAST_DATABASE."""
        return f"sqlite:///{self.database}" if isinstance(self.database, Path) else self.database

    def look(self) -> Look:
        """The rows as another process finds them."""
        told = {"DATABASE": self.url}
        return Look(**json.loads(child(told, "-m", "tests.office_on_the_web", "look")))

    @contextmanager
    def held_open(self) -> Iterator[None]:
        """Somebody else has the file open all the time, as a work loop may."""
        other = sqlite3.connect(self.database)
        other.execute("SELECT count(*) FROM dispatch_booking").fetchone()
        try:
            yield
        finally:
            other.close()


def office_at(database: str | Path, *, jobs: int = JOBS) -> Office:
    """A migrated database with a branch, a crew, weather around now and waiting garages."""
    told = {"DATABASE": Office(database).url}
    child(told, "manage.py", "migrate", "--no-input", "--verbosity", "0")
    return Office(database, json.loads(child(told, *SEED, str(jobs))))


class Desk:
    """Somebody of the office, signed in, with the best days of a floor before them."""

    def __init__(
        self, site: servers.Site, office: Office, *, certificate: Path | None = None
    ) -> None:
        self.site = site
        self.http = session()
        self.http.headers["Referer"] = f"{site.url}/"  # as browsers send, and Django asks for
        if certificate is not None:
            self.http.verify = str(certificate)
            self.http.trust_env = False  # the shell's own bundle would come before it
        self.jobs = list(office.seeded["jobs"])
        page = self.get("/sign-in/")
        answer = self.post(
            "/sign-in/",
            csrfmiddlewaretoken=hidden(page, "csrfmiddlewaretoken"),
            username=office.seeded["username"],
            password=office.seeded["password"],
        )
        assert answer.status_code == 302, answer.text[:500]
        self.open_next()

    def beside(self, job: int) -> "Desk":
        """Another window of the same person, with the days of another floor before them."""
        other = copy(self)
        other.http = session()
        other.http.cookies.update(self.http.cookies)
        other.jobs = [job]
        other.open_next()
        return other

    def open_next(self) -> None:
        """Open the days of the next waiting floor."""
        self.job = self.jobs.pop(0)
        page = self.get(f"/floors/{self.job}/days/")
        names = ("csrfmiddlewaretoken", "version", "key")
        self.form = {name: hidden(page, name) for name in names}
        offers = re.findall(r'name="offer" value="([^"]+)"', page)
        assert offers, page
        # The first may begin so soon that it is gone by the time of the press.
        self.form["offer"] = offers[-1]

    def book(self) -> requests.Response:
        """Press the button; the same form may be pressed again."""
        return self.post(f"/floors/{self.job}/book/", **self.form)

    def get(self, path: str) -> str:
        """A page."""
        answer = self.http.get(f"{self.site.url}{path}", timeout=60)
        assert answer.status_code == 200, answer.text[:500]
        return answer.text

    def post(self, path: str, **data: str) -> requests.Response:
        """An answer that is not followed."""
        return self.http.post(
            f"{self.site.url}{path}", data=data, timeout=60, allow_redirects=False
        )


def session() -> requests.Session:
    """A browser's cookies; each request on a connection of its own.

    One that is kept may be closed by the server in the moment in which a form is sent.
    """
    made = requests.Session()
    made.headers["Connection"] = "close"
    return made


def hidden(page: str, name: str) -> str:
    """The value of a hidden field."""
    field_at = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert field_at, f"no {name} in {page[:500]}"
    return field_at[1]


def seed(count: int) -> dict[str, Any]:
    """What `office_at` writes, with so many waiting garages."""
    from datetime import timedelta

    from django.utils import timezone

    from tests import builders

    now = timezone.now()
    # A zone in which it is day now, since mails wait for the morning. POSIX counts the hours
    # west of Greenwich.
    west = now.hour - 12 if now.hour >= 12 else 12 if now.hour < 8 else 0
    spot = builders.place(zone=f"Etc/GMT+{west}")
    branch = builders.branch(at=spot, weekdays=list(range(7)))
    for number in range(3):
        builders.crew(of=branch, name=f"Crew {number}")
        builders.machine(of=branch, name=f"Grinder {number}")
    builders.forecast(
        at=branch.depot_place,
        start=now - timedelta(days=15),
        count=24 * 24,
        issued_at=now - timedelta(minutes=30),
    )
    jobs = []
    for _ in range(count):
        where = builders.site(owner=builders.customer(of=branch), at=spot)
        floor = builders.floor(at=where)
        jobs.append(builders.job(of=branch, floors=[floor], created_at=now).pk)
    user = builders.user(of=branch, username="desk")
    return {
        "jobs": jobs,
        "username": user.username,
        "password": builders.PASSWORD,
        "feed": _feed_path(branch),
    }


def _feed_path(branch: Any) -> str:
    from urllib.parse import urlsplit

    from django.utils import timezone

    from dispatch.models import LinkPurpose
    from dispatch.services import links
    from jobs.access import PROGRAM

    made = links.make_link(
        branch=branch, purpose=LinkPurpose.FEED, name="wall", by=PROGRAM, now=timezone.now()
    )
    return urlsplit(made.address).path


def work_on(pause_s: float) -> None:
    """Book floor after floor and call every third off, saying so once it is done, until ended."""
    from datetime import timedelta

    from django.utils import timezone

    from dispatch.models import Crew
    from jobs.models import Branch
    from tests import builders
    from tests.dispatch.days import book, call_off

    branch, crew, now = Branch.objects.get(), Crew.objects.order_by("pk")[0], timezone.now()
    for number in range(3000):
        start = (now + timedelta(days=30 + number)).replace(hour=14, minute=0, second=0)
        made = book(branch, crew, start, job=builders.job(of=branch, created_at=now), now=now)
        if number % 3 == 2:
            call_off(made, now=now)
        sys.stdout.write(f"{made.pk}\n")
        sys.stdout.flush()
        time.sleep(pause_s)


def look() -> dict[str, Any]:
    """What `Office.look` shows."""
    from dispatch.models import Booking, CalendarEntry, Claim, Notice, Stint
    from jobs.models import AuditEvent, IdempotencyKey, Job
    from tests import invariants

    tables = (Booking, CalendarEntry, Claim, Notice, Stint, AuditEvent, IdempotencyKey, Job)
    rows = {table.__name__: table.objects.count() for table in tables}
    return {"rows": rows, "broken": invariants.broken()}


if __name__ == "__main__":
    import django

    django.setup()
    if sys.argv[1] == "work_on":
        work_on(float(sys.argv[2]) if len(sys.argv) > 2 else 0.02)
    else:
        found = look() if sys.argv[1] == "look" else seed(int(sys.argv[2]))
        sys.stdout.write(json.dumps(found))
