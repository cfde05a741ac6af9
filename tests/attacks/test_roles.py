"""Who may ask what: every route of the program, every role, one's own branch and another.

The table below is written by hand, not read from the code, so that a right which changes by
accident fails here. A route that the table does not have fails too.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse

from jobs.models import Role
from tests.attacks.world import Firm

pytestmark = pytest.mark.django_db(transaction=True)

ALL = frozenset(role.value for role in Role)
DESK = frozenset({"owner", "office"})
CREW = DESK | {"lead"}
READ = DESK | {"reader"}
OWNER = frozenset({"owner"})
NOBODY: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Right:
    """Who may look, who may act, and what the address names."""

    look: frozenset[str]
    act: frozenset[str]
    subject: str = ""


RIGHTS = {
    "week": Right(ALL, NOBODY),
    "needs": Right(ALL, NOBODY),
    "told": Right(NOBODY, DESK, "notice"),
    "final-call": Right(ALL, NOBODY),
    "final-call-day": Right(ALL, NOBODY, "day"),
    "final-call-people": Right(NOBODY, OWNER),
    "final-call-decide": Right(NOBODY, DESK, "booking"),
    "plans": Right(DESK, NOBODY),
    "plan": Right(DESK, NOBODY, "plan"),
    "plan-ask": Right(NOBODY, DESK),
    "plan-apply": Right(NOBODY, DESK, "plan"),
    "called": Right(DESK, NOBODY),
    "proposal-accepted": Right(NOBODY, DESK, "proposal"),
    "ready": Right(NOBODY, DESK, "booking"),
    "known": Right(NOBODY, DESK, "floor"),
    "crews": Right(ALL, NOBODY),
    "staff-change": Right(NOBODY, DESK, "kind"),
    "staff-back": Right(NOBODY, DESK, "absence"),
    "link-make": Right(NOBODY, DESK, "crew"),
    "link-replace": Right(NOBODY, DESK, "link"),
    "link-stop": Right(NOBODY, DESK, "link"),
    "choose-branch": Right(NOBODY, ALL),
    "waiting": Right(ALL, NOBODY),
    "take-in": Right(DESK, DESK),
    "quick-answer": Right(DESK, DESK),
    "take-in-rest": Right(DESK, DESK, "job"),
    "import-backlog": Right(DESK, DESK),
    "offers": Right(DESK, NOBODY, "job"),
    "book": Right(NOBODY, DESK, "job"),
    "booking": Right(ALL, NOBODY, "booking"),
    "move": Right(DESK, DESK, "booking"),
    "confirm": Right(NOBODY, DESK, "booking"),
    "call-off": Right(NOBODY, DESK, "booking"),
    "return-visit": Right(DESK, DESK, "booking"),
    "undo": Right(NOBODY, DESK, "booking"),
    "exchange": Right(DESK, NOBODY, "booking"),
    "swap": Right(NOBODY, DESK, "booking"),
    "hand-over": Right(NOBODY, DESK, "booking"),
    "note-dryness": Right(NOBODY, CREW, "booking"),
    "note-waters": Right(NOBODY, CREW, "booking"),
    "enter-reading": Right(NOBODY, CREW, "booking"),
    "place-heater": Right(NOBODY, CREW, "booking"),
    "take-heater-away": Right(NOBODY, CREW, "booking stay"),
    "stored": Right(DESK, NOBODY, "customer"),
    "handed-out": Right(DESK, NOBODY, "customer"),
    "erase": Right(NOBODY, DESK, "customer"),
    "people": Right(OWNER, OWNER),
    "people-role": Right(NOBODY, OWNER, "member"),
    "programs": Right(OWNER, OWNER),
    "program-stop": Right(NOBODY, OWNER, "token"),
    "files": Right(DESK, NOBODY),
    "file-csv": Right(DESK, NOBODY, "file"),
    "file-json": Right(DESK, NOBODY, "file"),
    "days-off": Right(DESK, DESK),
    "work-on": Right(NOBODY, DESK, "holiday"),
    "passphrase": Right(ALL, ALL),
    "settings": Right(ALL, NOBODY),
    "stock": Right(CREW, NOBODY),
    "stock-add": Right(NOBODY, DESK),
    "stock-count": Right(NOBODY, DESK, "lot"),
    "systems": Right(ALL, NOBODY),
    "system": Right(OWNER, OWNER, "system"),
    "system-copy": Right(OWNER, OWNER, "system"),
    "limits": Right(ALL, NOBODY),
    "limits-change": Right(NOBODY, OWNER),
    "day-sheet": Right(ALL, NOBODY, "stint"),
    "feed-links": Right(DESK, DESK),
    "letters": Right(DESK, NOBODY),
    "letter": Right(DESK, DESK, "letter"),
    "mails": Right(READ, NOBODY),
    "mail": Right(READ, NOBODY, "mail"),
    "weather-services": Right(DESK, NOBODY),
    "wet-months": Right(NOBODY, DESK),
    "api-schema": Right(DESK, NOBODY),
    "api-docs": Right(DESK, NOBODY),
    "api-quick-answer": Right(DESK, DESK),
    "api-floors": Right(ALL, DESK),
    "api-floor-offers": Right(DESK, NOBODY, "job"),
    "api-floor-bookings": Right(NOBODY, DESK, "job"),
    "api-booking": Right(ALL, NOBODY, "booking"),
    "api-booking-offers": Right(DESK, NOBODY, "booking"),
    "api-move": Right(NOBODY, DESK, "booking"),
    "api-confirm": Right(NOBODY, DESK, "booking"),
    "api-call-off": Right(NOBODY, DESK, "booking"),
    "api-swap": Right(NOBODY, DESK, "booking"),
    "api-hand-over": Right(NOBODY, DESK, "booking"),
    "api-undo": Right(NOBODY, DESK, "booking"),
    "api-staff": Right(ALL, NOBODY),
    "api-crew-people": Right(NOBODY, DESK, "crew"),
    "api-absences": Right(NOBODY, DESK),
    "api-absence-end": Right(NOBODY, DESK, "absence"),
    "api-week": Right(ALL, NOBODY),
    "api-verdicts": Right(ALL, NOBODY),
}
# Their own key, or nothing to guard; each has tests of its own.
SECRET = {
    "feed", "customer", "customer-cannot", "customer-answer", "customer-ready", "customer-ics",
    "customer-fewer", "phone-on-the-way",
    "customer-ics-visit", "phone", "phone-seen", "phone-sheet", "phone-stamp", "phone-reading",
}  # fmt: skip
PUBLIC = {"first-office", "sign-in", "sign-out", "healthz", "readyz", "metrics", "api-nowhere"}
NOWHERE = 987_654_321
WORDS = {"day": "2026-11-27", "kind": "crew", "file": "stints", "letter": "booked"}


def routes(patterns: Any = None) -> Iterator[str]:
    """The name of every route of the program."""
    for each in get_resolver().url_patterns if patterns is None else patterns:
        if isinstance(each, URLPattern):
            yield each.name or str(each.pattern)
        else:
            yield from routes(each.url_patterns)


def path_of(name: str, firm: Firm, *, anew: int | None = None) -> str:
    """The address of a thing of `firm`, or of the key `anew`."""
    subjects = RIGHTS[name].subject.split()
    return reverse(name, args=[WORDS.get(each) or anew or firm.keys[each] for each in subjects])


def ask(client: Client, method: str, path: str) -> Any:
    if method == "GET":
        return client.get(path)
    if path.startswith("/api/"):
        return client.post(path, {}, content_type="application/json")
    return client.post(path, {"version": "1"})


def signed_in(firm: Firm, role: str) -> Client:
    client = Client()
    client.force_login(firm.people[role])
    return client


def rows() -> dict[str, int]:
    """How many rows each table has."""
    with connection.cursor() as cursor:
        names = connection.introspection.table_names(cursor)
        counts = {}
        for name in names:
            if name in ("django_session", "jobs_signinattempt"):
                continue
            cursor.execute(f'SELECT COUNT(*) FROM "{name}"')  # noqa: S608  names of our tables
            counts[name] = cursor.fetchone()[0]
    return counts


def test_every_route_is_listed_once() -> None:
    named = set(routes())

    assert named == set(RIGHTS) | SECRET | PUBLIC


def test_strangers_are_led_to_the_door_and_change_nothing() -> None:
    firm = Firm("Alpha")
    before, wrong = rows(), []

    for name, right in RIGHTS.items():
        for method, roles in (("GET", right.look), ("POST", right.act)):
            answer = ask(Client(), method, path_of(name, firm))
            led = answer.status_code == 302 and answer["Location"].startswith("/sign-in/")
            if not (led or answer.status_code in (401, 403) or (not roles and refuses(answer))):
                wrong.append(f"{method} {name}: {answer.status_code}")

    assert not wrong, "\n".join(wrong)
    assert rows() == before


def refuses(answer: Any) -> bool:
    return answer.status_code in (403, 404, 405)


def test_a_role_that_may_not_is_refused_and_changes_nothing() -> None:
    firm = Firm("Alpha")
    before, wrong = rows(), []

    for role in Role:
        client = signed_in(firm, role.value)
        for name, right in RIGHTS.items():
            for method, roles in (("GET", right.look), ("POST", right.act)):
                if role.value in roles:
                    continue
                answer = ask(client, method, path_of(name, firm))
                good = answer.status_code == 403 or (not roles and refuses(answer))
                if not good:
                    wrong.append(f"{role.value}: {method} {name}: {answer.status_code}")

    assert not wrong, "\n".join(wrong)
    assert rows() == before


def test_what_belongs_to_another_branch_answers_like_what_is_nowhere() -> None:
    """The same status, whatever the body lacks, and no word of the other branch."""
    ours, theirs = Firm("Alpha"), Firm("Beta")
    before, wrong = rows(), []
    client = signed_in(ours, "owner")

    for name, right in RIGHTS.items():
        if not set(right.subject.split()) - set(WORDS):
            continue
        for method, roles in (("GET", right.look), ("POST", right.act)):
            if "owner" not in roles:
                continue
            answer = ask(client, method, path_of(name, theirs))
            nowhere = ask(client, method, path_of(name, theirs, anew=NOWHERE))
            told = theirs.name in answer.content.decode()
            same = answer.status_code == nowhere.status_code
            expected = (404,) if method == "GET" else (400, 404, 422)
            if told or not same or answer.status_code not in expected:
                wrong.append(f"{method} {name}: {answer.status_code}, {nowhere.status_code}")

    assert not wrong, "\n".join(wrong)
    assert rows() == before


def test_whoever_may_look_sees() -> None:
    firm, wrong = Firm("Alpha"), []

    for role in Role:
        client = signed_in(firm, role.value)
        for name, right in RIGHTS.items():
            if role.value not in right.look:
                continue
            answer = ask(client, "GET", path_of(name, firm))
            if answer.status_code not in (200, 400, 422):
                wrong.append(f"{role.value}: GET {name}: {answer.status_code}")

    assert not wrong, "\n".join(wrong)


def test_whoever_may_act_is_heard() -> None:
    """An empty form: what is missing is said, or what needs nothing is done."""
    wrong = []
    firm = Firm("Alpha")

    for name, right in RIGHTS.items():
        for role in sorted(right.act, reverse=True):
            answer = ask(signed_in(firm, role), "POST", path_of(name, firm))
            led = answer.status_code == 302 and answer["Location"].startswith("/sign-in/")
            if led or answer.status_code in (401, 403, 405) or answer.status_code >= 500:
                wrong.append(f"{role}: POST {name}: {answer.status_code}")

    assert not wrong, "\n".join(wrong)
