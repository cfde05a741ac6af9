"""What every test may ask for. The servers behind it are in `tests/servers.py`."""

import os
import socket
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path
from typing import TypeVar

import hypothesis
import pytest

from tests import servers

pytest_plugins = ["tests.browsing", "tests.strictness"]

T = TypeVar("T")
DATABASE_FIXTURES = {"db", "transactional_db", "live_site", "database_url", "django_db_setup"}

# A shared runner pauses now and then, which says nothing of the example that was running.
hypothesis.settings.register_profile("house", deadline=None, print_blob=True)
hypothesis.settings.load_profile("house")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark tests by what they need, and leave long ones out unless `--long` asks for them."""
    for item in items:
        wanted = set(getattr(item, "fixturenames", ()))
        if wanted & DATABASE_FIXTURES or item.get_closest_marker("django_db"):
            item.add_marker("database")
        if "page" in wanted or "browser" in wanted:
            item.add_marker("browser")
    if not config.getoption("--long"):
        long = [item for item in items if item.get_closest_marker("long")]
        config.hook.pytest_deselected(items=long)
        items[:] = [item for item in items if item not in long]


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--long` runs the tests marked `long` too."""
    parser.addoption("--long", action="store_true", help="run the tests marked `long` too")


def started(server: AbstractContextManager[T], stack: ExitStack) -> T:
    """The server, kept running until `stack` closes; a skip where its program is missing."""
    try:
        return stack.enter_context(server)
    except servers.Missing as missing:
        pytest.skip(str(missing))


@pytest.fixture(scope="session")
def until_the_end() -> Iterator[ExitStack]:
    """Closed when the session ends, last started first."""
    with ExitStack() as stack:
        yield stack


@pytest.fixture(autouse=True)
def only_this_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """No test reaches another machine: whatever tries, fails with a sentence."""
    connect = socket.socket.connect

    def refuse_strangers(self: socket.socket, address: object) -> None:
        if isinstance(address, tuple) and address[0] not in {"127.0.0.1", "::1", "localhost"}:
            raise OSError(f"a test tried to reach {address}")
        connect(self, address)  # type: ignore[arg-type]

    monkeypatch.setattr(socket.socket, "connect", refuse_strangers)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None,
    tmp_path_factory: pytest.TempPathFactory,
    until_the_end: ExitStack,
) -> None:
    """Point Django at a file of its own (SQLite), or at a PostgreSQL started for this session.

    SQLite is a file, never in memory: threads and processes must meet in it as in real life.
    """
    from django.db import connections

    settings = connections.settings["default"]
    if os.environ.get("SLABCAST_TEST_ENGINE", "sqlite") == "postgresql":
        cluster = started(servers.postgres(), until_the_end)
        settings.update(HOST="127.0.0.1", PORT=str(cluster.port), CONN_MAX_AGE=0)
    else:
        settings["TEST"]["NAME"] = str(tmp_path_factory.mktemp("database") / "test.sqlite3")


@pytest.fixture(scope="session")
def database_url(django_db_setup: None) -> str:
    """SLABCAST_DATABASE for a process that shall meet this test in the same database.

    Such a process sees what is committed, so its test needs `transactional_db` too.
    """
    from django.db import connections

    settings = connections.settings["default"]
    if settings["ENGINE"] == "deploy.sqlite":
        return f"sqlite:///{settings['NAME']}"
    return f"postgresql://{settings['USER']}@127.0.0.1:{settings['PORT']}/{settings['NAME']}"


@pytest.fixture(scope="session")
def redis_url(until_the_end: ExitStack) -> str:
    """A Redis of this session's own. It is shared: use key prefixes, or flush it first."""
    return started(servers.redis(), until_the_end)


@pytest.fixture
def mail_server(settings: object) -> Iterator[servers.MailSink]:
    """A real mail server that Django's mail goes to; see `servers.MailSink`."""
    with servers.mail_sink() as sink:
        for name, value in {
            "EMAIL_BACKEND": "django.core.mail.backends.smtp.EmailBackend",
            "EMAIL_HOST": "127.0.0.1",
            "EMAIL_PORT": sink.port,
            "EMAIL_USE_TLS": False,
            "EMAIL_HOST_USER": "",
        }.items():
            setattr(settings, name, value)
        yield sink


@pytest.fixture(scope="session")
def web_server(
    database_url: str, tmp_path_factory: pytest.TempPathFactory, until_the_end: ExitStack
) -> servers.Site:
    """One gunicorn on the test database for the whole session; tests ask for `live_site`."""
    folder = tmp_path_factory.mktemp("web")
    return until_the_end.enter_context(
        servers.web(folder=folder, settings={"DATABASE": database_url})
    )


@pytest.fixture
def live_site(transactional_db: None, web_server: servers.Site) -> servers.Site:
    """The running site on this test's rows, emptied after each test. `live_site.url`."""
    return web_server


@pytest.fixture
def samples() -> Path:
    """The folder of recorded replies that SLABCAST_SAMPLES names; a skip where it is unset."""
    folder = os.environ.get("SLABCAST_SAMPLES")
    if not folder:
        pytest.skip("SLABCAST_SAMPLES is unset: name a folder of recorded replies in it")
    return Path(folder)


@pytest.fixture
def frozen_environment(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """`frozen_environment(DEMO="1")`: exactly these SLABCAST_ variables are set."""

    def only(**values: str) -> None:
        for name in [name for name in os.environ if name.startswith("SLABCAST_")]:
            monkeypatch.delenv(name)
        for name, value in values.items():
            monkeypatch.setenv(f"SLABCAST_{name}", value)

    return only
