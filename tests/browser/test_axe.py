"""Every page in light and dark, held against axe-core's rules for WCAG 2.1 A and AA.

axe-core comes with the package axe-playwright-python and is put into the page from there, so no
other host is asked. What it calls minor or moderate is printed; serious and critical fail.
"""

from typing import Any, Literal

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

from tests.browser.test_screens import Full
from tests.browsing import enter

RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}}
GRAVE = ("serious", "critical")
# The page of the API's description is a library's own.
NOT_OURS = {"api-docs"}


@pytest.mark.parametrize(("scheme", "width"), [("light", 1280), ("dark", 390)])
def test_axe_finds_nothing_serious(
    page: Page, scheme: Literal["light", "dark"], width: int
) -> None:
    full = Full()
    enter(page, full.user)
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": width, "height": 900})

    grave, slight = [], []
    for name, path in full.pages().items():
        if name in NOT_OURS:
            continue
        page.goto(path)
        page.evaluate(AXE_SCRIPT)
        for found in page.evaluate("rules => axe.run(document, rules)", RULES)["violations"]:
            (grave if found["impact"] in GRAVE else slight).append(f"{name}: {said(found)}")

    print("\n".join(slight))
    assert not grave, "\n".join(grave)


def test_axe_sees_what_is_wrong(page: Page) -> None:
    page.goto("/c/nothing/")
    page.evaluate(
        """() => document.querySelector("main").insertAdjacentHTML(
            "beforeend", "<img src='data:,'><input name='x'>")"""
    )
    page.evaluate(AXE_SCRIPT)

    found = page.evaluate("rules => axe.run(document, rules)", RULES)["violations"]

    assert {"image-alt", "label"} <= {each["id"] for each in found if each["impact"] in GRAVE}


def said(found: dict[str, Any]) -> str:
    """One finding in a line: the rule and the first elements at fault."""
    where = "; ".join(" ".join(node["target"]) for node in found["nodes"][:3])
    return f"{found['id']} ({found['impact']}), {len(found['nodes'])}: {where}"
