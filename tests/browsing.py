"""The browser fixtures: Debian's Chromium, and a page that tolerates no error of ours."""

import os
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from tests import servers

if TYPE_CHECKING:
    from django.contrib.auth.models import AbstractBaseUser
    from playwright.sync_api import Browser, ConsoleMessage, Page, Response

FLAGS = [
    "--no-sandbox",  # the browser may run as root, and sees nothing but our own pages
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
]
# The server says no on purpose with these, and the browser writes a line about each.
ANSWERS_OF_OURS = ("400", "403", "409", "410", "422", "429")


@pytest.fixture(scope="session")
def browser() -> Iterator["Browser"]:
    """One Chromium for the session."""
    try:
        program = servers.browser_program()
    except servers.Missing as missing:
        pytest.skip(str(missing))
    from playwright.sync_api import sync_playwright

    # Playwright's loop runs in this thread, where Django would refuse its own queries.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=program, args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture
def page(browser: "Browser", live_site: servers.Site) -> Iterator["Page"]:
    """A fresh browser page on the running site; `page.goto("/")` is relative to it.

    The test fails when a script fails, the console shows an error, the content policy
    blocks anything, the server answers 500, or the page asks another host for something.
    """
    context = browser.new_context(
        base_url=live_site.url, locale="en-US", viewport={"width": 1280, "height": 900}
    )
    tab = context.new_page()
    problems: list[str] = []

    def heard(message: "ConsoleMessage") -> None:
        # A page that is refused as a whole is the test's business; a missing part is ours.
        expected = message.text.startswith("Failed to load resource") and (
            message.location.get("url") == tab.url
            or any(f"status of {code}" in message.text for code in ANSWERS_OF_OURS)
        )
        if message.type == "error" and not expected:
            problems.append(f"console: {message.text} ({message.location.get('url')})")

    def answered(response: "Response") -> None:
        if response.status >= 500:
            problems.append(f"{response.status} from {response.url}")
        if not response.url.startswith((live_site.url, "data:", "blob:")):
            problems.append(f"another host was asked: {response.url}")

    tab.on("console", heard)
    tab.on("pageerror", lambda error: problems.append(f"script: {error}"))
    tab.on("response", answered)
    tab.set_default_timeout(10_000)
    yield tab
    context.close()
    assert not problems, "\n".join(problems)


def enter(page: "Page", user: "AbstractBaseUser") -> None:
    """Sign `user` in without the form, for tests about something else."""
    from django.conf import settings
    from django.test import Client

    client = Client()
    client.force_login(user)
    name = settings.SESSION_COOKIE_NAME
    cookie = client.cookies[name].value
    page.context.add_cookies([{"name": name, "value": cookie, "url": base_url(page)}])


def base_url(page: "Page") -> str:
    """The address the page's relative addresses start from."""
    address: str = page.request.get("/healthz").url
    return address.removesuffix("/healthz")
