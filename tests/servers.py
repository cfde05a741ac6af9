"""Throwaway servers for tests: each on a free port, in a folder of its own, gone afterwards."""

import asyncio
import os
import pwd
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.parser import BytesParser
from email.policy import default
from pathlib import Path

import requests
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

ROOT = Path(__file__).resolve().parent.parent
BROWSERS = ("chromium", "chromium-browser")


class Missing(Exception):
    """A program this machine lacks; the message says which and how to get it."""


def free_port() -> int:
    """A TCP port on which nothing listens at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def wait_for(ready: Callable[[], bool], *, what: str, seconds: float = 30) -> None:
    """Return once `ready()` is true; a `TimeoutError` names `what` never came."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if ready():
            return
        time.sleep(0.05)
    raise TimeoutError(f"{what} did not answer within {seconds} s")


def listens(port: int) -> bool:
    """Whether something accepts connections on this port of this machine."""
    with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
        return True
    return False


def end(process: subprocess.Popen[bytes], *, seconds: float = 10) -> None:
    """Ask a process to stop, and stop it when it does not."""
    process.terminate()
    try:
        process.wait(seconds)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def reading(lines: Iterable[str], take: Callable[[str], None]) -> threading.Thread:
    """Hand each line of a process to `take` as it comes; join the thread when it has ended."""

    def read() -> None:
        for line in lines:
            take(line)

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    return thread


@dataclass(frozen=True)
class Postgres:
    """A PostgreSQL cluster of one test session."""

    programs: Path
    data: Path
    port: int
    as_owner: tuple[str, ...]
    options: str

    def control(self, *words: str) -> None:
        """`pg_ctl` with these words; what it prints is shown when it fails."""
        command = [*self.as_owner, str(self.programs / "pg_ctl"), "-D", str(self.data), *words]
        # The server inherits the output, so a pipe would never close: a file serves.
        with tempfile.TemporaryFile() as output:
            code = subprocess.run(command, stdout=output, stderr=output, cwd="/").returncode
            if code:
                output.seek(0)
                raise RuntimeError(output.read().decode(errors="replace"))

    def start(self) -> None:
        """Start the server and wait until it takes connections."""
        log = str(self.data / "log.txt")
        self.control("start", "-w", "-t", "60", "-l", log, "-o", self.options)

    def stop(self) -> None:
        """Stop at once, as a crash would; the next start recovers."""
        self.control("stop", "-m", "immediate")


def postgres_programs() -> Path:
    """The folder of initdb and pg_ctl; the newest version where Debian has several."""
    found = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: float(path.parts[4])
    )
    on_path = shutil.which("initdb")
    if not found and not on_path:
        raise Missing("PostgreSQL's server is missing: apt-get install postgresql")
    return found[-1].parent if found else Path(str(on_path)).resolve().parent


@contextmanager
def postgres(*, durable: bool = False) -> Iterator[Postgres]:
    """A running cluster whose superuser `postgres` needs no password.

    `durable` keeps fsync for tests that crash it. As root the server runs as `postgres`,
    because PostgreSQL refuses to run as root.
    """
    programs = postgres_programs()
    folder = Path(tempfile.mkdtemp(prefix="slabcast-pg-"))
    as_owner: tuple[str, ...] = ()
    if os.getuid() == 0:
        owner = pwd.getpwnam("postgres")
        os.chown(folder, owner.pw_uid, owner.pw_gid)
        as_owner = ("runuser", "-u", "postgres", "--")
    port = free_port()
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder}"
    options += " -c max_connections=200" + ("" if durable else " -c fsync=off")
    cluster = Postgres(programs, folder / "data", port, as_owner, options)
    try:
        command = [*as_owner, str(programs / "initdb"), "-D", str(cluster.data), "--no-sync"]
        command += ["-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8"]
        subprocess.run(command, check=True, capture_output=True, cwd="/")
        cluster.start()
        try:
            yield cluster
        finally:
            with suppress(RuntimeError):  # a test may have stopped it already
                cluster.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def redis(*, keep_in: Path | None = None) -> Iterator[str]:
    """The address of an empty Redis that keeps nothing on disk, or its log of changes there."""
    program = shutil.which("redis-server")
    if not program:
        raise Missing("Redis is missing: apt-get install redis-server")
    port = free_port()
    words = ["--port", str(port), "--bind", "127.0.0.1", "--save", ""]
    words += ["--appendonly", "yes" if keep_in else "no", "--dir", str(keep_in or "/")]
    process = subprocess.Popen([program, *words], stdout=subprocess.DEVNULL, cwd="/")
    try:
        wait_for(lambda: listens(port), what="Redis")
        yield f"redis://127.0.0.1:{port}/0"
    finally:
        end(process)


@dataclass
class MailSink:
    """A mail server that keeps what it is given.

    `answer` is the SMTP reply to each message: set "451 4.3.0 later" or "550 5.1.1 no" to
    see what the sender does with a refusal. It `thinks_s` seconds between keeping a message
    and saying so.
    """

    port: int = 0
    answer: str = "250 OK"
    thinks_s: float = 0
    messages: list[EmailMessage] = field(default_factory=list)
    envelopes: list[Envelope] = field(default_factory=list)

    async def handle_DATA(  # noqa: N802  the name is aiosmtpd's
        self, _server: SMTP, _session: Session, envelope: Envelope
    ) -> str:
        """Keep one message, or refuse it as `answer` says."""
        if self.answer.startswith("2"):
            self.envelopes.append(envelope)
            parsed = BytesParser(policy=default).parsebytes(bytes(envelope.content or b""))
            assert isinstance(parsed, EmailMessage)
            self.messages.append(parsed)
            await asyncio.sleep(self.thinks_s)
        return self.answer

    @property
    def taken(self) -> int:
        """How many messages were kept so far."""
        return len(self.messages)


@contextmanager
def mail_sink() -> Iterator[MailSink]:
    """A mail server on a free port of 127.0.0.1, without TLS."""
    sink = MailSink(port=free_port())
    controller = Controller(sink, hostname="127.0.0.1", port=sink.port)
    controller.start()
    try:
        yield sink
    finally:
        controller.stop()


def child_environment(settings: Mapping[str, str]) -> dict[str, str]:
    """The environment of a process of ours: nothing of the shell's SLABCAST_ but `settings`.

    `settings` has names without the prefix: {"DATABASE": ..., "DEMO": "1"}.
    """
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SLABCAST_")}
    told = {f"SLABCAST_{name}": value for name, value in settings.items()}
    return {
        **kept,
        **told,
        "SLABCAST_TEST_CHILD": "1",
        "DJANGO_SETTINGS_MODULE": "tests.settings",
        "PYTHONPATH": str(ROOT),
    }


@dataclass(frozen=True)
class Site:
    """A running web server: `url` has no slash at its end."""

    url: str
    log: Path
    process: subprocess.Popen[bytes]


@contextmanager
def web(
    *, folder: Path, settings: Mapping[str, str], words: Sequence[str] = ("--threads", "8")
) -> Iterator[Site]:
    """Gunicorn with our site on a free port. `folder` takes its log and its state."""
    port = free_port()
    told = {"DEMO": "1", "STATE_DIR": str(folder), "SITE_URL": f"http://127.0.0.1:{port}"}
    log = folder / "web.log"
    command = [sys.executable, "-m", "gunicorn", "deploy.wsgi", "--no-control-socket"]
    command += ["--bind", f"127.0.0.1:{port}"]
    with log.open("wb") as output:
        process = subprocess.Popen(
            [*command, *words],
            env=child_environment({**told, **settings}),
            cwd=ROOT,
            stdout=output,
            stderr=output,
        )
    site = Site(told["SITE_URL"], log, process)
    try:
        wait_for(lambda: _answers(site), what=f"the web server (log: {log})")
        yield site
    finally:
        end(process)


def _answers(site: Site) -> bool:
    if site.process.poll() is not None:
        raise RuntimeError(f"the web server ended:\n{site.log.read_text(errors='replace')}")
    # A listening socket is not enough: the worker may still fail while it loads the site.
    with suppress(requests.RequestException):
        requests.get(f"{site.url}/healthz", timeout=5)
        return True
    return False


def browser_program() -> str:
    """The path of Debian's Chromium."""
    for name in BROWSERS:
        path = shutil.which(name)
        if path:
            return path
    raise Missing("Chromium is missing: apt-get install chromium")
