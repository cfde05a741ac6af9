"""A forecast service on this machine: a real HTTP server that answers as a test tells it."""

import gzip
import json
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest

from weather import http


@dataclass
class Reply:
    """One answer: a document or raw bytes; `drip_s` waits between single bytes."""

    body: Any = None
    status: int = 200
    kind: str = "application/geo+json"
    headers: dict[str, str] = field(default_factory=dict)
    packed: bool = False
    drip_s: float = 0.0
    drip_headers: bool = False
    cut: bool = False

    def content(self) -> bytes:
        """The bytes to send."""
        raw = self.body if isinstance(self.body, bytes) else json.dumps(self.body).encode()
        return gzip.compress(raw) if self.packed else raw


@dataclass
class Seen:
    """One request as it came."""

    path: str
    headers: dict[str, str]


@dataclass
class FakeService:
    """Answers each path with its replies in turn; the last one stays."""

    url: str = ""
    replies: dict[str, list[Reply]] = field(default_factory=dict)
    seen: list[Seen] = field(default_factory=list)

    def say(self, path: str, *replies: Reply | dict[str, Any]) -> None:
        """From now on, answer `path` (without its query) so."""
        self.replies[path] = [r if isinstance(r, Reply) else Reply(r) for r in replies]

    def paths(self) -> list[str]:
        """The paths asked for so far, in order."""
        return [seen.path for seen in self.seen]

    def next(self, path: str) -> Reply:
        """The reply whose turn it is."""
        waiting = self.replies.get(path.partition("?")[0])
        if not waiting:
            return Reply(b"<html>not here</html>", status=404, kind="text/html")
        return waiting.pop(0) if len(waiting) > 1 else waiting[0]


class Handler(BaseHTTPRequestHandler):
    """Sends what `service` says."""

    service: FakeService

    def do_GET(self) -> None:
        """Note the request and answer it."""
        self.service.seen.append(Seen(self.path, dict(self.headers)))
        with suppress(OSError):  # the other side may have hung up, as some tests want
            self.send(self.service.next(self.path))

    def send(self, reply: Reply) -> None:
        """Send one reply, as badly as it wants to be sent."""
        content = reply.content()
        if reply.drip_headers:
            self.drip(b"HTTP/1.1 200 OK\r\nX-Slow: " + b"x" * 10_000, reply.drip_s)
            return
        self.send_response(reply.status)
        told = {"Content-Type": reply.kind, "Content-Length": len(content) + 100 * reply.cut}
        if reply.packed:
            told["Content-Encoding"] = "gzip"
        for name, value in (told | reply.headers).items():
            self.send_header(name, str(value))
        self.end_headers()
        if reply.status != 304:
            self.drip(content, reply.drip_s)

    def drip(self, content: bytes, pause_s: float) -> None:
        """Send byte by byte with a pause between, or all at once without one."""
        size = 1 if pause_s else max(1, len(content))
        for position in range(0, len(content), size):
            self.wfile.write(content[position : position + size])
            time.sleep(pause_s)

    def log_message(self, *_words: Any) -> None:
        """Say nothing."""


@pytest.fixture
def start_service() -> Iterator[Callable[[], FakeService]]:
    """`start_service()` starts one more service on a port of its own."""
    servers: list[ThreadingHTTPServer] = []

    def start() -> FakeService:
        service = FakeService()
        bound = type("Bound", (Handler,), {"service": service})
        server = ThreadingHTTPServer(("127.0.0.1", 0), bound)
        server.daemon_threads = True
        service.url = f"http://127.0.0.1:{server.server_port}"
        threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()
        servers.append(server)
        return service

    yield start
    for server in servers:
        server.shutdown()
        server.server_close()


@pytest.fixture
def nws(start_service, settings, monkeypatch) -> FakeService:
    """The US service; the settings ask it, live, and waits between tries are short."""
    service = start_service()
    settings.FORECASTS = "live"
    settings.FORECAST_CONTACT = "ops@floors.example"
    settings.NWS_URL = service.url
    monkeypatch.setattr(http.random, "uniform", lambda _low, _high: 0.01)
    monkeypatch.setattr(http, "PACE_S", 0.0)
    return service


@pytest.fixture
def metno(start_service, settings) -> FakeService:
    """MET Norway; the settings ask it."""
    service = start_service()
    settings.METNO_URL = service.url
    return service


@pytest.fixture
def open_meteo(start_service, settings) -> FakeService:
    """Open-Meteo with a key, forecast and ensemble on one host; the settings ask it."""
    service = start_service()
    settings.OPEN_METEO_KEY = "key-of-this-test"
    settings.OPEN_METEO_URL = service.url
    settings.OPEN_METEO_ENSEMBLE_URL = service.url
    return service
