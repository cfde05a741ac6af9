"""A stand-in for the forecast services on this machine: it answers in their shapes and counts.

For rehearsals only: what it says is the invented weather of the demo, at the hour it is told.
"""

import json
import re
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from weather.providers import replay
from weather.rules.hours import HOUR, floor_hour

DAYS = 4
POINT = re.compile(r"/points/(?P<north>-?[\d.]+),(?P<east>-?[\d.]+)")
CELL = re.compile(r"/gridpoints/STD/(?P<x>\d+),(?P<y>\d+)/stations")
STAGE = replay.Stage(
    script="mild", latitude=33.5, longitude=-86.8, zone="UTC", first_day=date(2026, 1, 1)
)


@dataclass
class StandIn:
    """What a rehearsal sees of it: its address, the hour it plays and what it was asked."""

    url: str = ""
    now: datetime = datetime(2026, 1, 1, tzinfo=UTC)
    asked: Counter[str] = field(default_factory=Counter)

    def answer(self, path: str) -> tuple[str, dict[str, Any]]:
        """What kind of question `path` is, and its answer."""
        if found := POINT.match(path):
            return "points", self._point(float(found["north"]), float(found["east"]))
        if path.startswith("/complete"):
            return "metno", self._metno()
        if path.startswith("/stations/"):
            return "observations", self._observations()
        if found := CELL.match(path):
            return "stations", self._stations(int(found["x"]), int(found["y"]))
        return "grid", replay.grid(STAGE, start=self._start(), count=24 * DAYS, issued_at=self.now)

    def _start(self) -> datetime:
        return floor_hour(self.now) - 6 * HOUR

    def _point(self, north: float, east: float) -> dict[str, Any]:
        # Cells a tenth of a degree wide, so that a cell tells roughly where it is.
        cell = {"gridX": round(abs(east) * 10), "gridY": round(north * 10)}
        return {"properties": {"gridId": "STD", "type": "land", **cell}}

    def _metno(self) -> dict[str, Any]:
        units = {"air_temperature": "celsius", "relative_humidity": "%"}
        units |= {"precipitation_amount": "mm", "wind_speed": "m/s"}
        details = {"air_temperature": 15.0, "relative_humidity": 50.0, "wind_speed": 3.0}
        steps = [
            {
                "time": (self._start() + i * HOUR).isoformat(),
                "data": {
                    "instant": {"details": details},
                    "next_1_hours": {"details": {"precipitation_amount": 0.0}},
                },
            }
            for i in range(24 * DAYS)
        ]
        meta = {"updated_at": self.now.isoformat(), "units": units}
        return {"properties": {"meta": meta, "timeseries": steps}}

    def _stations(self, x: int, y: int) -> dict[str, Any]:
        place = {"geometry": {"coordinates": [-x / 10, y / 10]}}
        return {"features": [{**place, "properties": {"stationIdentifier": "KXXX"}}]}

    def _observations(self) -> dict[str, Any]:
        reports = [
            {
                "properties": {
                    "timestamp": (self.now - i * HOUR).isoformat(),
                    "temperature": {"unitCode": "wmoUnit:degC", "value": 15.0},
                    "dewpoint": {"unitCode": "wmoUnit:degC", "value": 5.0},
                }
            }
            for i in range(24 * 7)
        ]
        return {"features": reports}


class _Handler(BaseHTTPRequestHandler):
    stand_in: StandIn

    def do_GET(self) -> None:
        kind, document = self.stand_in.answer(self.path)
        self.stand_in.asked[kind] += 1
        body = json.dumps(document).encode()
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Last-Modified", f"{self.stand_in.now:%a, %d %b %Y %H:%M:%S GMT}")
        expires = self.stand_in.now + timedelta(minutes=30)
        self.send_header("Expires", f"{expires:%a, %d %b %Y %H:%M:%S GMT}")
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_words: Any) -> None:
        """Say nothing."""


@contextmanager
def running() -> Iterator[StandIn]:
    """The stand-in, answering on a port of 127.0.0.1 until the block ends."""
    stand_in = StandIn()
    bound = type("Bound", (_Handler,), {"stand_in": stand_in})
    server = ThreadingHTTPServer(("127.0.0.1", 0), bound)
    server.daemon_threads = True
    stand_in.url = f"http://127.0.0.1:{server.server_port}"
    threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
    try:
        yield stand_in
    finally:
        server.shutdown()
        server.server_close()
