"""The one door to the network: forecast services are asked here and nowhere else.

An answer is taken with suspicion: a total deadline (a server that drips a byte a second
resets an ordinary timeout with each byte), a cap on the decoded size, no redirect to another
host, and nothing but strict JSON. No proxy settings and no .netrc of the machine are used.
"""

import random
import socket
import threading
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Any
from urllib.parse import urljoin, urlsplit

import requests
from django.conf import settings
from django.utils import timezone
from requests.adapters import HTTPAdapter
from urllib3 import HTTPConnectionPool, HTTPSConnectionPool
from urllib3.exceptions import HTTPError

from weather import pace, patience
from weather.answers import BadAnswer, decode

DEADLINE_S = 10.0
# Nothing is begun for less than this: it would only blame the service.
LEAST_S = 0.5
CONNECT_S, READ_S = 3.0, 5.0
MOST_BYTES = 4_000_000
CHUNK_BYTES = 64 * 1024
TRIES = 3
PASSING = {429, 500, 502, 503, 504}
# 403 is how both services say that our contact, our format or our pace offends them.
STOP = {403, 429}
# The services ask for a quiet pace: one request a second to each host, from all of us together.
PACE_S = 1.0
# Our clock and a service's may differ by this much before what it says of times is doubted.
CLOCKS_AGREE_S = 300.0
LOCAL = {"127.0.0.1", "localhost", "::1"}
JSON_TYPES = {"application/json", "application/geo+json", "application/ld+json"}


class Trouble(Exception):
    """No usable answer; the message says why in a sentence."""

    kind = "place"  # whom it concerns: this "place", the whole "service", or "stop" asking
    problem = ""
    retry_after_s = 0.0


class NoContact(Trouble):
    """Nothing is asked without an honest contact, as the services' terms demand."""

    kind = "setting"


class Unreachable(Trouble):
    """The service cannot be reached, or is too slow."""

    kind = "service"


class NoTimeLeft(Trouble):
    """What one place may take is used up, so this service was not asked any more."""


class Refused(Trouble):
    """The service answered with an error."""

    def __init__(self, status: int, *, problem: str = "", retry_after_s: float = 0.0) -> None:
        said = f" ({problem})" if problem else ""
        super().__init__(f"The forecast service answered {status}{said}.")
        self.status = status
        self.problem = problem
        self.retry_after_s = retry_after_s
        self.kind = "stop" if status in STOP else "place"


@dataclass(frozen=True)
class Answer:
    """A document with what the service said of its age; no document means "nothing new"."""

    status: int
    document: dict[str, Any] | None
    last_modified: str
    expires_at: datetime | None


def get_json(
    base: str, path: str, *, accept: str, if_modified_since: str = "", secret: str = ""
) -> Answer:
    """The JSON document at `base` + `path`, within ten seconds and at most three tries.

    `base` comes from the settings. `secret` is a last parameter, as "apikey=...", that no
    message or log may hold. Raises `Trouble`, or `BadAnswer` for a useless document.
    """
    headers = {
        "User-Agent": user_agent(),
        "Accept": accept,
        "Accept-Encoding": "gzip",
    }
    if if_modified_since:
        headers["If-Modified-Since"] = if_modified_since
    url = _allowed(base, path)
    if secret:
        url += f"{'&' if '?' in path else '?'}{secret}"
    _heard.clock_ahead_s = None
    tries, moved = 1, False
    ends = time.monotonic() + _seconds()
    while True:
        # Our own queue is no fault of the service and takes nothing of its ten seconds.
        queued_s = pace.wait_for_turn(urlsplit(base).netloc, pace_s=PACE_S)
        patience.give_back(queued_s)
        ends += queued_s
        try:
            return _once(url, headers=headers, ends=ends)
        except _Moved as there:
            if moved:
                raise BadAnswer("the service redirects again and again") from None
            url, moved = there.url, True
        except Trouble as trouble:
            wait_s = _wait_s(trouble, attempt=tries)
            if wait_s is None or time.monotonic() + wait_s >= ends:
                raise
            time.sleep(wait_s)
            tries += 1


def _seconds() -> float:
    """How long the next document may take."""
    left_s = patience.left_s()
    if left_s < LEAST_S:
        raise NoTimeLeft("no time was left for this service; it is asked again later")
    return min(DEADLINE_S, left_s)


class _Moved(Exception):
    """The service sends us to another address on its host."""

    def __init__(self, url: str) -> None:
        super().__init__("moved")
        self.url = url


def user_agent() -> str:
    """Our name with the contact from the settings; refuses to go out without one."""
    contact = str(settings.FORECAST_CONTACT).strip()
    if not contact or not contact.isprintable() or not contact.isascii():
        raise NoContact(
            "No forecast is fetched: set SLABCAST_FORECAST_CONTACT to an e-mail address or "
            "web page at which the forecast services can reach you."
        )
    return f"Slabcast/0.1 ({contact})"


def _allowed(base: str, path: str) -> str:
    """The address, if it is at one of the services of the settings and cannot be overheard."""
    known = [settings.NWS_URL, settings.METNO_URL]
    if settings.OPEN_METEO_KEY:
        known += [settings.OPEN_METEO_URL, settings.OPEN_METEO_ENSEMBLE_URL]
    allowed = {urlsplit(address).netloc for address in known}
    parts = urlsplit(base)
    if parts.netloc not in allowed or parts.username or not path.startswith("/"):
        raise Trouble(f"{parts.netloc} is not a forecast service of the settings.")
    if parts.scheme != "https" and parts.hostname not in LOCAL:
        raise Trouble(f"{parts.netloc} must be asked over https.")
    return base.rstrip("/") + path


def _wait_s(trouble: Trouble, *, attempt: int) -> float | None:
    """Seconds to wait before the next try, or None when there shall be none."""
    passing = isinstance(trouble, Unreachable) or (
        isinstance(trouble, Refused) and trouble.status in PASSING
    )
    if not passing or attempt >= TRIES:
        return None
    return max(trouble.retry_after_s, random.uniform(0.1, 2.0**attempt / 2))  # noqa: S311


def _once(url: str, *, headers: dict[str, str], ends: float) -> Answer:
    """One request. When the time is up its sockets are shut."""
    adapter = _Watched()
    watch = threading.Timer(max(0.1, ends - time.monotonic()), adapter.shut)
    watch.daemon = True
    watch.start()
    try:
        with requests.Session() as session:
            session.trust_env = False
            session.headers.clear()
            session.headers.update(headers)
            session.mount("https://", adapter)
            session.mount("http://", adapter)
            return _sent_to(session, url)
    except (BadAnswer, Refused) as trouble:
        if adapter.late:  # what was cut off looks like nonsense
            raise Unreachable("The forecast service is too slow.") from trouble
        raise
    except (requests.RequestException, HTTPError, OSError) as trouble:
        said = "is too slow" if adapter.late else "cannot be reached"
        name = type(trouble).__name__
        # Without its cause, whose message holds the whole address and with it a key.
        raise Unreachable(f"The forecast service {said} ({name}).") from None
    finally:
        watch.cancel()


class _Watched(HTTPAdapter):
    """Remembers the sockets it opens, so that a clock can shut them at any moment.

    Timeouts of reads begin anew with each byte, headers included; this one does not.
    """

    def __init__(self) -> None:
        self.late = False
        self._sockets: list[socket.socket] = []
        super().__init__(max_retries=0)

    def init_poolmanager(self, *args: Any, **kwargs: Any) -> None:
        """Use connections that tell us of their sockets."""
        super().init_poolmanager(*args, **kwargs)
        self.poolmanager.pool_classes_by_scheme = {
            "http": _pool(HTTPConnectionPool, self._sockets),
            "https": _pool(HTTPSConnectionPool, self._sockets),
        }

    def shut(self) -> None:
        """Time is up: whatever waits for a byte on these sockets wakes with an error."""
        self.late = True
        for opened in self._sockets:
            with suppress(OSError):
                # The plain method, also for TLS: the other thread is inside the TLS object.
                socket.socket.shutdown(opened, socket.SHUT_RDWR)


def _pool(kind: type[HTTPConnectionPool], sockets: list[socket.socket]) -> type[HTTPConnectionPool]:
    base = kind.ConnectionCls

    def connect(self: Any) -> None:
        base.connect(self)
        sockets.append(self.sock)

    connection = type("Connection", (base,), {"connect": connect})
    return type("Pool", (kind,), {"ConnectionCls": connection})


_heard = threading.local()


@contextmanager
def counted() -> Iterator[Callable[[], int]]:
    """Inside the block, a function that says how many requests this thread has sent in it."""
    before = getattr(_heard, "count", 0)
    yield lambda: getattr(_heard, "count", 0) - before


def clock_ahead_s() -> float | None:
    """By how many seconds the clock of the host this thread asked last is ahead of ours.

    None where it did not say; 0 while the two agree within five minutes.
    """
    found: float | None = getattr(_heard, "clock_ahead_s", None)
    return found if found is None or abs(found) > CLOCKS_AGREE_S else 0.0


def _sent_to(session: requests.Session, url: str) -> Answer:
    _heard.count = getattr(_heard, "count", 0) + 1
    with session.get(
        url, allow_redirects=False, stream=True, timeout=(CONNECT_S, READ_S)
    ) as response:
        _heard.clock_ahead_s = _ahead_s(response)
        if response.status_code not in {301, 302, 307, 308}:
            return _answer(response)
        raise _Moved(_redirect(response))


def _ahead_s(response: requests.Response) -> float | None:
    """Date, and the Age that a cache adds to it, against our clock (RFC 9110 and 9111)."""
    date = http_date(response.headers.get("Date", ""))
    if date is None:
        return None
    age = response.headers.get("Age", "")
    age_s = float(age) if age.isascii() and age.isdigit() and len(age) < 8 else 0.0
    return (date - timezone.now()).total_seconds() + age_s


def _redirect(response: requests.Response) -> str:
    """Where to go next, if it is the same host; nobody sends us to another one."""
    target = urljoin(response.url, response.headers.get("Location", ""))
    before, after = urlsplit(response.url), urlsplit(target)
    if (before.scheme, before.netloc) != (after.scheme, after.netloc):
        raise BadAnswer(f"the service redirects to another host, {after.netloc[:60]}")
    return target


def _answer(response: requests.Response) -> Answer:
    status = response.status_code
    if status == 304:
        return _stamped(response, None)
    if status not in {200, 203}:  # 203: a version about to end, whose data are good
        raise Refused(
            status,
            problem=_problem(response),
            retry_after_s=retry_after_s(
                response.headers.get("Retry-After", ""), ahead_s=clock_ahead_s() or 0.0
            ),
        )
    kind = response.headers.get("Content-Type", "").partition(";")[0].strip().lower()
    if kind not in JSON_TYPES:
        raise BadAnswer(f"the service answered {kind or 'something nameless'}, not JSON")
    return _stamped(response, decode(_body(response)))


def _stamped(response: requests.Response, document: dict[str, Any] | None) -> Answer:
    expires_at = http_date(response.headers.get("Expires", ""))
    if expires_at is not None:  # said by their clock, kept by ours
        expires_at -= timedelta(seconds=clock_ahead_s() or 0.0)
    return Answer(
        status=response.status_code,
        document=document,
        last_modified=response.headers.get("Last-Modified", "")[:60],
        expires_at=expires_at,
    )


def http_date(text: str) -> datetime | None:
    """A date of an HTTP header in UTC, or None when it is none."""
    try:
        found = parsedate_to_datetime(text)
    except (TypeError, ValueError, IndexError, OverflowError):
        return None
    return found.astimezone(UTC) if found.tzinfo else None


def retry_after_s(text: str, *, ahead_s: float = 0.0) -> float:
    """Seconds that Retry-After asks for: from a number or a date; 0 for nonsense.

    A date is by the service's clock, which is `ahead_s` before ours.
    """
    if text.isascii() and text.isdigit() and len(text) < 12:
        return float(text)
    when = http_date(text)
    return max(0.0, (when - timezone.now()).total_seconds() - ahead_s) if when else 0.0


def _problem(response: requests.Response) -> str:
    """What an error's body names as the matter: "InvalidPoint", or a reason in words; else ""."""
    if "json" not in response.headers.get("Content-Type", ""):
        return ""
    try:
        document = decode(_body(response))
    except (BadAnswer, Trouble):
        return ""
    kind, reason = document.get("type"), document.get("reason")
    if kind:
        return str(kind).replace(":", "/").rpartition("/")[2][:60]
    # Open-Meteo says in words what the matter is; an address in them may hold a key.
    words = str(reason or "")
    return "" if "key=" in words.lower() else words[:80]


def _body(response: requests.Response) -> bytes:
    """The decoded body, refused when it is too long, damaged or cut off."""
    encoding = response.headers.get("Content-Encoding", "identity").lower()
    if encoding not in {"identity", "gzip", ""}:
        raise BadAnswer(f"the answer is encoded as {encoding[:20]}, which was not asked for")
    # Unpacked here under a limit: 300 kB on the wire can become 300 MB in memory.
    unpacker = zlib.decompressobj(wbits=31) if encoding == "gzip" else None
    body = bytearray()
    for chunk in response.raw.stream(CHUNK_BYTES, decode_content=False):
        try:
            body += unpacker.decompress(chunk, MOST_BYTES + 1) if unpacker else chunk
        except zlib.error:
            raise BadAnswer("the answer is damaged gzip") from None
        if len(body) > MOST_BYTES:
            raise BadAnswer(f"the answer is longer than {MOST_BYTES} bytes")
    if unpacker and not unpacker.eof:
        raise BadAnswer("the answer is damaged gzip")
    return bytes(body)
