"""Every page, measured in a real browser: nothing scrolls sideways, nothing covers anything,
every control has a name and shows its focus."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Page

from dispatch.models import Booking, LinkPurpose, PromiseLevel
from dispatch.services import links, receipts
from dispatch.services.verdicts import judge_booking
from dispatch.urls import urlpatterns
from jobs.access import PROGRAM
from tests import builders
from tests.browsing import enter
from tests.dispatch.days import book, call_off

WIDTHS = (1280, 768, 390)
LONG_NAME = "Bartholomew Wolfeschlegelsteinhausenbergerdorff-Featherstonehaugh and Daughters"
LONG_STREET = "12345 North Saint Bartholomew-the-Apostle Boulevard, Building C, Garage 17"

# Boxes of words, line by line, and of controls. What lies in a frame that scrolls or is cut
# off counts only as far as it is seen; what only a screen reader meets counts not at all.
MEASURE = """
() => {
  document.querySelectorAll('details').forEach(each => each.open = true);
  const seen = el => el.checkVisibility({visibilityProperty: true, opacityProperty: true})
    && !el.closest('.visually-hidden, .skip');
  const clip = (rect, el) => {
    let {left, top, right, bottom} = rect;
    for (let up = el; up && up !== document.documentElement; up = up.parentElement) {
      if (getComputedStyle(up).overflow === 'visible' || up === document.body) continue;
      const frame = up.getBoundingClientRect();
      left = Math.max(left, frame.left); right = Math.min(right, frame.right);
      top = Math.max(top, frame.top); bottom = Math.min(bottom, frame.bottom);
    }
    return {left, top, right, bottom};
  };
  const boxes = [];
  const add = (el, rect, words, control) => {
    const box = clip(rect, el);
    if (box.right - box.left > 1 && box.bottom - box.top > 1)
      boxes.push({el, ...box, control, words: words.trim().slice(0, 50)});
  };
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, el = node.parentElement;
    if (!node.data.trim() || el.closest('svg, script, style, textarea, select') || !seen(el))
      continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const rect of range.getClientRects()) add(el, rect, node.data, false);
  }
  for (const el of document.querySelectorAll('input, select, textarea, button, a.button'))
    if (seen(el)) add(el, el.getBoundingClientRect(), el.name || el.textContent, true);
  const overlap = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
    && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1;
  const found = [];
  boxes.forEach((a, i) => boxes.slice(i + 1).forEach(b => {
    // Lines of one text stand as the browser set them, and a control holds its own words.
    if (a.el === b.el && !(a.control || b.control)) return;
    if (a.el.contains(b.el) && (a.control || !b.control)) { if (a.control) return; }
    if (b.el.contains(a.el) && b.control) return;
    if (overlap(a, b)) found.push(`"${a.words}" and "${b.words}"`);
  }));
  for (const svg of document.querySelectorAll('svg')) {
    if (!seen(svg)) continue;
    const frame = svg.getBoundingClientRect();
    const texts = [...svg.querySelectorAll('text')].filter(seen)
      .map(el => ({words: el.textContent, ...el.getBoundingClientRect().toJSON()}))
      .filter(box => box.width > 0);
    texts.forEach((a, i) => {
      if (a.left < frame.left - 1 || a.right > frame.right + 1
          || a.top < frame.top - 1 || a.bottom > frame.bottom + 1)
        found.push(`"${a.words}" leaves its picture`);
      texts.slice(i + 1).forEach(b => {
        if (overlap(a, b)) found.push(`in the picture: "${a.words}" and "${b.words}"`);
      });
    });
  }
  const page = document.documentElement;
  if (page.scrollWidth > window.innerWidth)
    found.push(`the page is ${page.scrollWidth} px wide`);
  return found;
}
"""

# After a press of Tab the browser shows the focus of whatever gets it next.
UNSEEN_FOCUS = """
() => [...document.querySelectorAll('a[href], button, input, select, textarea, summary')]
  .filter(el => el.type !== 'hidden' && !el.matches(':disabled'))
  .filter(el => el.checkVisibility({visibilityProperty: true}))
  .filter(el => {
    el.focus();
    const style = getComputedStyle(el);
    const ring = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) > 0;
    // In a picture the frame around a stint is drawn, because an outline would cut its words.
    const frame = el.querySelector(':scope .touch');
    const drawn = frame && parseFloat(getComputedStyle(frame).strokeWidth) >= 2;
    return document.activeElement !== el || !(ring || drawn);
  })
  .map(el => el.outerHTML.slice(0, 120))
"""

CONTROLS = {
    "button", "checkbox", "combobox", "DisclosureTriangle", "Date", "DateTime", "link",
    "radio", "searchbox", "spinbutton", "textbox",
}  # fmt: skip


def nameless(page: Page) -> list[str]:
    """Controls that a screen reader would meet without a name."""
    session = page.context.new_cdp_session(page)
    tree: list[dict[str, Any]] = session.send("Accessibility.getFullAXTree")["nodes"]
    session.detach()
    return [
        node["role"]["value"]
        for node in tree
        if not node["ignored"]
        and node.get("role", {}).get("value") in CONTROLS
        and not node.get("name", {}).get("value", "").strip()
    ]


class Full:
    """A branch in which every kind of thing happens, and one customer has a very long name."""

    def __init__(self) -> None:
        self.now = timezone.now()
        self.branch = builders.branch(weekdays=list(range(7)))
        self.user = builders.user(of=self.branch)
        self.crews = [builders.crew(of=self.branch, name=name) for name in ("North", "South")]
        builders.machine(of=self.branch, name="Grinder 1")
        builders.system(of=self.branch)
        # Rain on the third day, so that a patio is refused.
        wet = {n: {"rain_chance_pct": 70.0, "rain_mm": 3.0} for n in range(410, 440)}
        builders.forecast(
            at=self.branch.depot_place,
            start=self.now - timedelta(days=15),
            count=24 * 24,
            issued_at=self.now - timedelta(minutes=30),
            rows=wet,
        )
        self.soon = self._booked(crew=0, in_days=1, name=LONG_NAME, street=LONG_STREET)
        self._booked(crew=0, in_days=2, name="Ada Fields", exposure="open")
        self._booked(crew=1, in_days=1, name="Ed Low")
        planned = self._booked(crew=1, in_days=3, name="Jo March", promise=PromiseLevel.PLANNED)
        gone = self._booked(crew=1, in_days=5, name="Kit Vane")
        call_off(gone, now=self.now)
        receipts.customer_cannot(self.soon, why="The movers come. " * 12, now=self.now)
        long = builders.site(
            owner=builders.customer(of=self.branch, name=LONG_NAME), street=LONG_STREET
        )
        self.waiting = builders.job(
            of=self.branch,
            floors=[builders.floor(at=long), builders.floor(at=long, name="P" * 60)],
            impossible_days=[f"{self.now + timedelta(days=n):%Y-%m-%d}" for n in range(3, 20, 2)],
            notes="Dog. " * 40,
        )
        self.planned = planned
        link = links.make_link(
            branch=self.branch,
            purpose=LinkPurpose.PHONE,
            name="lead",
            by=PROGRAM,
            now=self.now,
            crew=self.crews[0],
        )
        self.phone = f"/p/{link.token}/"

    def _booked(
        self, *, crew: int, in_days: int, name: str, street: str = "", exposure: str = "garage",
        promise: PromiseLevel = PromiseLevel.CONFIRMED,
    ) -> Booking:  # fmt: skip
        zone = self.branch.tz
        day = self.now.astimezone(zone).date() + timedelta(days=in_days)
        start = datetime.combine(day, datetime.min.time(), tzinfo=zone) + timedelta(hours=8)
        where = builders.site(owner=builders.customer(of=self.branch, name=name), street=street)
        job = builders.job(of=self.branch, floors=[builders.floor(at=where, exposure=exposure)])
        booking = book(self.branch, self.crews[crew], start, job=job, now=self.now, promise=promise)
        judge_booking(booking, now=self.now)
        return booking

    def pages(self) -> dict[str, str]:
        """Every page that people see, by name."""
        stint = self.soon.stints.get().pk
        # Pages with an address of their own come from the list of addresses, so none is forgotten.
        plain = {
            str(each.name): f"/{each.pattern}"
            for each in urlpatterns
            if "<" not in str(each.pattern)
        }
        asked = Client()
        plain = {name: path for name, path in plain.items() if asked.get(path).status_code != 405}
        office = {
            "next week": f"/?day={self.now + timedelta(days=7):%Y-%m-%d}",
            "nothing found": "/floors/?q=nobody+of+that+name",
            "mail": f"/mail/{self.soon.notices.filter(audience='customer').first().pk}/",
            "best days": f"/floors/{self.waiting.pk}/days/",
            "booking": f"/bookings/{self.soon.pk}/",
            "move": f"/bookings/{self.soon.pk}/move/",
            "day sheet": f"/stints/{stint}/sheet/",
            "not here": "/bookings/999999999/",
        }
        secret = {
            "phone": self.phone,
            "phone sheet": f"{self.phone}{stint}/",
            "customer": f"/c/{links.for_booking(self.soon, now=self.now).token}/",
            "customer, week": f"/c/{links.for_booking(self.planned, now=self.now).token}/",
            "link that ended": "/c/nothing/",
        }
        return plain | office | secret


@pytest.fixture
def screens(page: Page) -> tuple[Page, dict[str, str]]:
    """The browser, signed in, and the pages to look at."""
    full = Full()
    enter(page, full.user)
    return page, full.pages()


def test_nothing_scrolls_sideways_and_nothing_covers_anything(
    screens: tuple[Page, dict[str, str]],
) -> None:
    page, pages = screens

    found = []
    for name, path in pages.items():
        page.goto(path)
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            found += [f"{name} at {width}: {each}" for each in page.evaluate(MEASURE)]

    assert not found, "\n".join(found)


def test_every_control_has_a_name_and_shows_its_focus(
    screens: tuple[Page, dict[str, str]],
) -> None:
    page, pages = screens

    found = []
    for name, path in pages.items():
        page.goto(path)
        page.keyboard.press("Tab")
        found += [f"{name}: no focus seen on {each}" for each in page.evaluate(UNSEEN_FOCUS)]
        found += [f"{name}: a {role} without a name" for role in nameless(page)]

    assert not found, "\n".join(found)


def test_an_invalid_form_fits_too_and_names_its_fields(
    screens: tuple[Page, dict[str, str]],
) -> None:
    page, pages = screens
    found = []
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(pages["take-in"])
        page.get_by_role("button", name="Take in and see the best days").click()
        found += [f"at {width}: {each}" for each in page.evaluate(MEASURE)]
        assert page.get_by_role("alert").get_by_role("link").count() >= 4

    assert not found, "\n".join(found)


def test_signing_in_with_a_wrong_passphrase_fits_and_says_so(page: Page) -> None:
    builders.user(of=builders.branch())
    page.goto("/sign-in/")
    page.get_by_label("Username").fill("nobody")
    page.get_by_label("Password").fill("nothing")
    page.get_by_role("button", name="Sign in").click()

    assert page.get_by_role("alert").inner_text()
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate(MEASURE) == []
    page.keyboard.press("Tab")
    assert page.evaluate(UNSEEN_FOCUS) == []
    assert nameless(page) == []


def test_the_measure_itself_sees_what_is_wrong(page: Page) -> None:
    page.set_content(
        """
        <p style="position: absolute; top: 40px">one over</p>
        <p style="position: absolute; top: 44px">the other</p>
        <p style="margin-top: 90px">in its place <a href="#">with a link</a></p>
        <svg width="90" height="30"><text x="5" y="20">left</text><text x="20" y="20">right</text>
          <text x="80" y="20">gone</text></svg>
        <div style="width: 2000px; height: 1px"></div>
        """
    )

    assert page.evaluate(MEASURE) == [
        '"one over" and "the other"',
        'in the picture: "left" and "right"',
        '"gone" leaves its picture',
        "the page is 2008 px wide",
    ]
