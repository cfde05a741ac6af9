"""The commands people type: from any folder, with help, and with plain words when they refuse."""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest
import requests

from tests import servers

SCRIPTS = servers.ROOT / "deploy" / "scripts"


def typed(script, *words, **told):
    return subprocess.run(
        [str(SCRIPTS / script), *words],
        cwd="/",
        env={**os.environ, **told},
        capture_output=True,
        text=True,
        timeout=60,
    )


@pytest.mark.parametrize("script", ["run", "test", "check"])
def test_help_is_given_from_any_folder(script):
    answer = typed(script, "--help")

    assert answer.returncode == 0
    assert answer.stdout.startswith(f"Usage: deploy/scripts/{script}")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--prot", "8000"], "There is no option --prot."),
        (["--port"], "--port needs a number."),
        (["--port", "eighty"], "A port is a number from 1 to 65535, not eighty."),
        (["--port=65536"], "A port is a number from 1 to 65535, not 65536."),
    ],
)
def test_run_refuses_what_it_does_not_understand(words, sentence):
    answer = typed("run", *words)

    assert answer.returncode == 2
    assert sentence in answer.stderr


def test_run_says_when_the_port_is_taken():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]

        answer = typed("run", "--port", str(port))

    assert answer.returncode == 1
    assert f"Port {port} is taken" in answer.stderr


def test_no_python_is_said_with_its_remedy(tmp_path):
    project = copy_of_the_project(tmp_path)
    for program in ("bash", "cat", "cksum", "dirname", "readlink", "rm", "tr"):
        (tmp_path / program).symlink_to(str(shutil.which(program)))

    answer = subprocess.run(
        [str(project / "deploy/scripts/venv")],
        env={"PATH": str(tmp_path)},
        capture_output=True,
        text=True,
    )

    assert answer.returncode == 1
    assert "apt-get install python3 python3-venv" in answer.stderr


def copy_of_the_project(folder: Path) -> Path:
    """The tree as it would be fresh from git, without an environment."""
    leave = shutil.ignore_patterns(".git", ".venv*", ".demo", "__pycache__", ".*_cache", ".hypo*")
    return Path(shutil.copytree(servers.ROOT, folder / "project", ignore=leave))


def files_of(project):
    return {
        str(path.relative_to(project))
        for path in project.rglob("*")
        if path.is_file() and not {"__pycache__", ".demo", ".venv"} & set(path.parts)
    }


@pytest.mark.long
def test_the_demo_starts_keeps_what_was_entered_and_leaves_the_tree_clean(tmp_path):
    project = copy_of_the_project(tmp_path)
    (project / ".venv").symlink_to(sys.prefix)
    before = files_of(project)
    database = project / ".demo" / "slabcast.sqlite3"

    first = started_and_stopped(project)
    made = database.stat().st_ino
    second = started_and_stopped(project)

    assert "Setting up the invented office" in first
    assert "Setting up the invented office" not in second
    # Sign-ins and links name the port of this start, not of the one that made the database.
    assert len(set(re.findall(r"http://127.0.0.1:\d+", second))) == 1
    assert database.stat().st_ino == made
    assert files_of(project) == before


def started_and_stopped(project):
    """Start the demo, open its front page, end it as Ctrl-C does; what it printed."""
    port = servers.free_port()
    process = subprocess.Popen(
        [str(project / "deploy/scripts/run"), "--port", str(port)],
        cwd="/",
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    lines = []
    for line in process.stdout:
        lines.append(line)
        if "Ctrl-C ends it" in line:
            break
    page = requests.get(f"http://127.0.0.1:{port}/", timeout=10)
    # Ctrl-C is typed at a terminal; without one, TERM takes the same way out.
    process.send_signal(signal.SIGTERM)
    rest, _ = process.communicate(timeout=30)
    printed = "".join(lines) + rest

    assert page.status_code == 200, printed
    assert process.returncode == 0, printed
    assert not servers.listens(port)
    return printed
