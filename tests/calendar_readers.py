"""Readers of calendars that are not ours: what each of them sees in the same bytes.

`icalendar` is always there; with it we also write, so it counts least. The others are
independent: ical.js is the engine of Thunderbird and of web calendars, libical of GNOME's and
KDE's, vdirsyncer with khal is a subscriber on a terminal. They are brought by

    python3 -m venv DIR/venv && DIR/venv/bin/pip install vdirsyncer khal
    npm install --prefix DIR/js ical.js
    apt-get install nodejs gir1.2-ical-3.0 python3-gi

and SLABCAST_READERS=DIR; what is missing is skipped with its remedy.
"""

import json
import os
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import icalendar
import pytest


@dataclass(frozen=True, order=True)
class Seen:
    """One event as a reader understood it; times are instants in UTC."""

    uid: str
    sequence: int
    status: str
    start: datetime
    end: datetime


Reader = Callable[[bytes], tuple[str, list[Seen]]]

LIBICAL = """
import json, sys, gi
gi.require_version("ICalGLib", "3.0")
from gi.repository import ICalGLib as ical
whole = ical.Component.new_from_string(sys.stdin.buffer.read().decode())
def text(of, kind):
    found = of.get_first_property(kind)
    return found.get_value_as_string() if found else ""
def at(time):
    zone = time.get_timezone() or whole.get_timezone(time.get_tzid() or "")
    return time.as_timet_with_zone(ical.Timezone.get_utc_timezone() if time.is_utc() else zone)
found, event = [], whole.get_first_component(ical.ComponentKind.VEVENT_COMPONENT)
while event:
    found.append([event.get_uid(), event.get_sequence(),
                  text(event, ical.PropertyKind.STATUS_PROPERTY),
                  at(event.get_dtstart()), at(event.get_dtend())])
    event = whole.get_next_component(ical.ComponentKind.VEVENT_COMPONENT)
print(json.dumps([text(whole, ical.PropertyKind.METHOD_PROPERTY), found]))
"""
ICAL_JS = """
import fs from "fs"; import { pathToFileURL } from "url";
const I = (await import(pathToFileURL(process.env.ICAL_JS))).default;
const whole = new I.Component(I.parse(fs.readFileSync(0, "utf8")));
const at = (time) => time.toJSDate().getTime() / 1000;
const found = whole.getAllSubcomponents("vevent").map((part) => {
  const event = new I.Event(part);
  return [event.uid, event.sequence, String(part.getFirstPropertyValue("status")),
          at(event.startDate), at(event.endDate)];
});
console.log(JSON.stringify([String(whole.getFirstPropertyValue("method") || ""), found]));
"""


def by_icalendar(body: bytes) -> tuple[str, list[Seen]]:
    """The reader that khal and many servers are built on."""
    calendar = icalendar.Calendar.from_ical(body)
    found = [
        Seen(
            uid=str(event["uid"]),
            sequence=int(event["sequence"]),
            status=str(event["status"]),
            start=event["dtstart"].dt.astimezone(UTC),
            end=event["dtend"].dt.astimezone(UTC),
        )
        for event in calendar.walk("VEVENT")
    ]
    return str(calendar.get("method", "")), sorted(found)


def by_libical(body: bytes) -> tuple[str, list[Seen]]:
    """libical through the system's own Python, since its bindings come with the system."""
    python = "/usr/bin/python3"
    asked = "import gi; gi.require_version('ICalGLib', '3.0')"
    if (
        not Path(python).exists()
        or subprocess.run([python, "-c", asked], capture_output=True).returncode
    ):
        pytest.skip("SLABCAST_READERS: apt-get install gir1.2-ical-3.0 python3-gi")
    return _spoken([python, "-c", LIBICAL], body)


def by_ical_js(body: bytes) -> tuple[str, list[Seen]]:
    """ical.js, strict about UTF-8, in a process whose own zone is UTC."""
    library = folder() / "js/node_modules/ical.js/dist/ical.js"
    if not shutil.which("node") or not library.exists():
        pytest.skip("SLABCAST_READERS names a folder without ical.js, or node is missing")
    words = ["node", "--input-type=module", "-e", ICAL_JS]
    return _spoken(words, body, ICAL_JS=str(library), TZ="UTC")


READERS: dict[str, Reader] = {
    "icalendar": by_icalendar,
    "libical": by_libical,
    "ical.js": by_ical_js,
}


def folder() -> Path:
    """What SLABCAST_READERS names; a skip where it is unset."""
    named = os.environ.get("SLABCAST_READERS", "")
    if not named:
        pytest.skip("SLABCAST_READERS is unset: tests/calendar_readers.py says what it holds")
    return Path(named)


class Subscriber:
    """vdirsyncer and khal: one person's calendar of one feed, kept between two syncs."""

    def __init__(self, url: str, keep: Path) -> None:
        self.programs, self.keep = folder() / "venv/bin", keep
        if not (self.programs / "khal").exists():
            pytest.skip("SLABCAST_READERS names a folder without vdirsyncer and khal")
        (keep / "items").mkdir(parents=True)
        (keep / "sync.conf").write_text(
            f'[general]\nstatus_path = "{keep}/status/"\n[pair feed]\na = "far"\nb = "near"\n'
            'collections = null\nconflict_resolution = "a wins"\n'
            f'[storage far]\ntype = "http"\nurl = "{url}"\n'
            f'[storage near]\ntype = "filesystem"\npath = "{keep}/items/"\nfileext = ".ics"\n'
        )
        (keep / "khal.conf").write_text(
            f"[calendars]\n[[feed]]\npath = {keep}/items/\n[locale]\nlocal_timezone = UTC\n"
            "default_timezone = UTC\ntimeformat = %H:%M\ndateformat = %Y-%m-%d\n"
            "longdateformat = %Y-%m-%d\ndatetimeformat = %Y-%m-%dT%H:%M\n"
            f"longdatetimeformat = %Y-%m-%dT%H:%M\n[sqlite]\npath = {keep}/khal.db\n"
        )
        self._run("vdirsyncer", "-c", str(keep / "sync.conf"), "discover")

    def seen(self, *, since: datetime, days: int) -> list[tuple[datetime, datetime, bool]]:
        """Start, end and whether it is shown as not on, after one more sync."""
        self._run("vdirsyncer", "-c", str(self.keep / "sync.conf"), "sync")
        form = "{start-long}|{end-long}|{status}"
        said = self._run(
            "khal", "-c", str(self.keep / "khal.conf"), "list", "--day-format", "", "--once",
            "--format", form, since.strftime("%Y-%m-%dT00:00"), f"{days}d",
        )  # fmt: skip
        found = []
        for line in filter(None, map(str.strip, said.splitlines())):
            start, end, status = line.split("|")
            found.append((_utc(start), _utc(end), "CANCELLED" in status.upper()))
        return sorted(found)

    def _run(self, program: str, *words: str) -> str:
        done = subprocess.run(
            [str(self.programs / program), *words], capture_output=True, text=True, timeout=120
        )
        assert done.returncode == 0, done.stdout + done.stderr
        # khal ends well when it drops an event, so what it complains of counts, too.
        assert "error" not in done.stderr.lower(), done.stderr
        return done.stdout


def _utc(text: str) -> datetime:
    return datetime.strptime(text, "%Y-%m-%dT%H:%M").replace(tzinfo=UTC)


def _spoken(words: list[str], body: bytes, **environment: str) -> tuple[str, list[Seen]]:
    done = subprocess.run(
        words, input=body, capture_output=True, timeout=60, env={**os.environ, **environment}
    )
    assert done.returncode == 0, done.stderr.decode(errors="replace")
    method, found = json.loads(done.stdout)
    return method, sorted(
        Seen(uid, sequence, status, _at(start), _at(end))
        for uid, sequence, status, start, end in found
    )


def _at(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)
