"""A whole installation of real processes: booked through nginx, killed part by part."""

import re
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack

import pytest

from tests import servers
from tests.conftest import started
from tests.deploy.server import PARTS, Installation, installation, wait_for_all
from tests.office_on_the_web import Desk

UNITS = sorted((servers.ROOT / "deploy" / "systemd").iterdir())


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Iterator[Installation]:
    with ExitStack() as stack:
        yield started(installation(tmp_path_factory.mktemp("installation")), stack)


@pytest.fixture(scope="module")
def desk(made) -> Desk:
    wait_for_all(made)
    return made.desk()


def test_a_floor_is_booked_through_the_proxy_and_the_mail_goes_out(made, desk):
    answer = desk.book()

    assert answer.status_code == 302
    assert made.office.look().rows["Booking"] == 1
    # Beat ticks every 30 s; a worker on another queue takes the notice.
    servers.wait_for(made.mails, what="the customer's mail", seconds=90)
    assert "Set-Cookie" not in made.get("/healthz").headers


def test_killing_any_one_part_loses_nothing_and_heals_by_itself(made, desk):
    before = made.office.look().rows["Booking"]
    for number, part in enumerate(PARTS, start=1):
        gone = made.pid(part)
        made.kill(gone)
        servers.wait_for(lambda part=part, gone=gone: made.runs(part, but=gone), what=part)
        if part == "web":
            servers.wait_for(made.healthy, what="the site")
        if number <= 3:
            desk.open_next()
            assert desk.book().status_code == 302
    wait_for_all(made)

    look = made.office.look()
    assert (look.rows["Booking"], look.broken) == (before + 3, [])


def test_no_secret_address_stands_in_any_log(made):
    secret = made.office.seeded["feed"]
    assert made.get(secret).status_code == 200

    key = re.search(r"/feeds/(.+)\.ics", secret)[1]
    written = made.folder / "log" / "nginx-slabcast.log"
    # Nginx writes its line after the answer has gone.
    servers.wait_for(lambda: "/feeds/(secret)" in written.read_text(), what="the line of a feed")
    for path in (made.folder / "log").iterdir():
        assert key not in path.read_text(errors="replace"), path.name


def test_plain_http_is_sent_to_https_and_figures_are_for_machines_inside(made):
    reply = made.get("/sign-in/")

    assert reply.headers["Strict-Transport-Security"].startswith("max-age=")
    assert "__Host-csrf" in reply.cookies
    assert re.fullmatch(r"[0-9a-f]{32}", reply.headers["X-Request-ID"])
    assert made.get("/readyz").json()["migrations"] == 0  # from this machine


def test_systemd_understands_the_units(tmp_path):
    """The commands are put where they are here; everything else is as installed."""
    if not shutil.which("systemd-analyze"):
        pytest.skip("systemd-analyze is missing: apt-get install systemd")
    for unit in UNITS:
        text = unit.read_text().replace("/opt/slabcast/current", str(servers.ROOT))
        (tmp_path / unit.name).write_text(text)
    names = [str(path) for path in sorted(tmp_path.iterdir())]

    said = subprocess.run(["systemd-analyze", "verify", *names], capture_output=True, text=True)

    assert (said.returncode, said.stderr) == (0, "")


@pytest.mark.parametrize(
    "script", sorted((servers.ROOT / "deploy" / "scripts").iterdir()), ids=lambda path: path.name
)
def test_every_shell_script_parses(script):
    if "bash" not in script.read_text().splitlines()[0]:
        return
    assert subprocess.run(["bash", "-n", script], capture_output=True).stderr == b""
