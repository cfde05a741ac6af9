"""An installation from the files that `deploy/scripts/install` uses, in a folder of its own.

Supervisor, nginx with a certificate, gunicorn, Celery's workers and clock, PostgreSQL and Redis
run as real processes on free ports, and end with the test.
"""

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import requests

from tests import servers
from tests.office_on_the_web import Desk, Office, office_at

PARTS = ("web", "worker-forecast", "worker-verdicts", "worker-notices", "worker-plans", "clock")


def program(name: str, package: str) -> str:
    """The path of a program that Debian has as `package`."""
    path = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/bin")
    if path is None:
        raise servers.Missing(f"{name} is missing: apt-get install {package}")
    return path


@dataclass(frozen=True)
class Installation:
    """A running installation; `office` has waiting floors and somebody who may sign in."""

    folder: Path
    site: servers.Site
    office: Office
    certificate: Path

    def desk(self) -> Desk:
        """Somebody of the office who signs in through nginx."""
        return Desk(self.site, self.office, certificate=self.certificate)

    def get(self, path: str) -> requests.Response:
        """An answer through nginx."""
        return requests.get(f"{self.site.url}{path}", verify=str(self.certificate), timeout=30)

    def pid(self, part: str) -> int:
        """The process that supervisor started for this part; 0 while there is none."""
        said = self._control("pid", f"slabcast:slabcast-{part}").strip()
        return int(said) if said.isdigit() else 0

    def kill(self, pid: int) -> None:
        """As the kernel does to whom it likes."""
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)

    def runs(self, part: str, *, but: int = 0) -> bool:
        """Whether supervisor says that the part runs, in another process than `but`."""
        running = "RUNNING" in self._control("status", f"slabcast:slabcast-{part}")
        return running and self.pid(part) not in (0, but)

    def healthy(self) -> bool:
        """Whether the site answers through nginx."""
        with suppress(requests.RequestException):
            return self.get("/healthz").status_code == 200
        return False

    def mails(self) -> list[Path]:
        """The mails that went out, as files."""
        return sorted((self.folder / "mail").glob("*"))

    def log(self, part: str) -> str:
        """What a part wrote."""
        return (self.folder / "log" / f"{part}.log").read_text(errors="replace")

    def _control(self, *words: str) -> str:
        command = [program("supervisorctl", "supervisor"), "-c", str(self.folder / "super.conf")]
        return subprocess.run([*command, *words], capture_output=True, text=True).stdout


@contextmanager
def installation(folder: Path) -> Iterator[Installation]:
    """Everything started, the site answering; ended in the reverse order."""
    for name in ("log", "static", "tls", "mail"):
        (folder / name).mkdir()
    with servers.postgres(durable=True) as cluster, servers.redis(keep_in=folder) as broker:
        database = f"postgresql://postgres@127.0.0.1:{cluster.port}/postgres"
        office = office_at(database)
        ports = {name: servers.free_port() for name in ("http", "https", "web")}
        url = f"https://localhost:{ports['https']}"
        certificate = _certificate(folder / "tls")
        _settings(folder, database=database, broker=broker, url=url, web=ports["web"])
        _supervisor(folder)
        _nginx(folder, ports)
        process = _start(folder, "supervisord", "supervisor", "-n", "-c", folder / "super.conf")
        nginx = _start(folder, "nginx", "nginx-light", "-c", folder / "nginx.conf")
        site = servers.Site(url, folder / "log" / "web.log", process)
        made = Installation(folder, site, office, certificate)
        try:
            servers.wait_for(made.healthy, what=f"the site (logs: {folder}/log)", seconds=90)
            yield made
        finally:
            servers.end(nginx)
            servers.end(process, seconds=45)


def wait_for_all(made: Installation) -> float:
    """Wait until every part runs; the seconds that it took."""
    began = time.monotonic()
    for part in PARTS:
        servers.wait_for(lambda part=part: made.runs(part), what=part, seconds=60)
    servers.wait_for(made.healthy, what="the site", seconds=60)
    return time.monotonic() - began


def _start(folder: Path, name: str, package: str, *words: object) -> subprocess.Popen[bytes]:
    with (folder / "log" / f"{name}.out").open("wb") as output:
        command = [program(name, package), *map(str, words)]
        told = servers.child_environment({})  # nothing of this process: all is in the file
        return subprocess.Popen(command, stdout=output, stderr=output, cwd="/", env=told)


def _certificate(folder: Path) -> Path:
    words = [program("openssl", "openssl"), "req", "-x509", "-newkey", "ec", "-nodes"]
    words += ["-pkeyopt", "ec_paramgen_curve:prime256v1", "-days", "2", "-subj", "/CN=localhost"]
    words += ["-addext", "subjectAltName=DNS:localhost"]
    words += ["-keyout", str(folder / "privkey.pem"), "-out", str(folder / "fullchain.pem")]
    subprocess.run(words, check=True, capture_output=True)
    return folder / "fullchain.pem"


def _settings(folder: Path, *, database: str, broker: str, url: str, web: int) -> None:
    told = {
        "SLABCAST_HOSTS": "localhost",
        "SLABCAST_SITE_URL": url,
        "SLABCAST_SECRET_KEY": "for a test, long enough to be taken for a key of a real office",
        "SLABCAST_DATABASE": database,
        "SLABCAST_REDIS_URL": broker,
        "SLABCAST_STATE_DIR": folder,
        "SLABCAST_BEHIND_PROXY": "yes",
        "SLABCAST_BIND": f"127.0.0.1:{web}",
        "SLABCAST_WORKER_PROCESSES": "1",
        "SLABCAST_TEST_CHILD": "1",
        "DJANGO_SETTINGS_MODULE": "tests.settings",
    }
    lines = "".join(f"{name}={value}\n" for name, value in told.items())
    (folder / "slabcast.env").write_text("# A comment, and a line without words.\n\n" + lines)


def _supervisor(folder: Path) -> None:
    text = (servers.ROOT / "deploy" / "server" / "supervisor.conf").read_text()
    filled = {"ROOT": servers.ROOT, "STATE": folder, "ENV": folder / "slabcast.env"}
    for name, value in filled.items():
        text = text.replace(f"@{name}@", str(value))
    text = text.replace("user=@USER@\n", "")
    socket = folder / "super.sock"
    head = f"""[supervisord]
logfile={folder}/log/supervisord.log
pidfile={folder}/super.pid
[unix_http_server]
file={socket}
[supervisorctl]
serverurl=unix://{socket}
[rpcinterface:supervisor]
supervisor.rpcinterface_factory = supervisor.rpcinterface:make_main_rpcinterface
"""
    (folder / "super.conf").write_text(head + text)


def _nginx(folder: Path, ports: dict[str, int]) -> None:
    text = (servers.ROOT / "deploy" / "server" / "nginx.conf").read_text()
    filled = {"HOST": "localhost", "TLS": folder / "tls", "STATIC": folder / "static"}
    for name, value in {**filled, "WEB": f"127.0.0.1:{ports['web']}"}.items():
        text = text.replace(f"@{name}@", str(value))
    text = text.replace("    listen [::]", "    # listen [::]")
    text = text.replace("listen 80;", f"listen 127.0.0.1:{ports['http']};")
    text = text.replace("listen 443 ssl", f"listen 127.0.0.1:{ports['https']} ssl")
    text = text.replace("/var/log/nginx/", f"{folder}/log/nginx-")
    head = f"""daemon off;
pid {folder}/nginx.pid;
error_log {folder}/log/nginx-error.log;
events {{}}
http {{
include /etc/nginx/mime.types;
"""
    for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi"):
        head += f"{name}_temp_path {folder}/nginx-{name};\n"
    (folder / "nginx.conf").write_text(head + text + "}\n")
