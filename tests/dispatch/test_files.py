"""Files that go out: whole, only of one's own branch, and harmless in a spreadsheet.

CSV: RFC 4180, read back with the standard library's reader. Formulas: OWASP, "CSV injection".
"""

import csv
import io
import json
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from dispatch.models import StampKind
from dispatch.reads.handing_out import KINDS
from dispatch.services.stamps import stamp
from dispatch.services.verdicts import judge_booking
from jobs.access import PROGRAM
from jobs.models import Role
from jobs.rules.backlog_text import rows_of
from jobs.rules.csv_cells import cell, csv_lines
from tests import builders
from tests.attacks.world import Firm

pytestmark = pytest.mark.django_db(transaction=True)
NASTY = ["=1+1", "+1", "-1", "@SUM(A1)", " =1", "\t=1"]


def read(client, kind, form="csv", **days):
    answer = client.get(reverse(f"file-{form}", args=[kind]), days)
    assert answer.status_code == 200, answer.content
    text = b"".join(answer.streaming_content).decode()
    assert "attachment" in answer["Content-Disposition"]
    return text


def table(text):
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"))))


@pytest.fixture
def firm(transactional_db):
    made = Firm("Alpha")
    judge_booking(made.booking, now=made.now)
    return made


@pytest.fixture
def desk(firm, client):
    client.force_login(firm.people["office"])
    return client


def test_the_days_of_crews_go_out_in_both_forms(firm, desk):
    rows = table(read(desk, "stints"))
    objects = desk.get(reverse("file-json", args=["stints"]))
    found = json.loads(b"".join(objects.streaming_content))

    assert [row["customer"] for row in rows] == ["Alpha Fields", "Alpha March"]
    assert [each["customer"] for each in found] == ["Alpha Fields", "Alpha March"]
    assert rows[0]["start"] == firm.booking.stints.get().start.isoformat()
    assert rows[0]["start"] == found[0]["start"]


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_its_rows_and_none_of_another_branch(firm, desk, kind):
    other = Firm("Beta")
    for each in (firm, other):
        judge_booking(each.booking, now=each.now)
        stint = each.booking.stints.get()
        stamp(stint, kind=StampKind.ARRIVED, by=PROGRAM, now=stint.start)

    text = read(
        desk, kind, first="2026-01-01", last=str(firm.branch.today(firm.now) + timedelta(days=9))
    )

    rows = table(text)
    assert rows
    assert tuple(rows[0]) == tuple(KINDS[kind].columns)
    assert "Beta" not in text


def test_only_the_days_asked_for(firm, desk):
    day = firm.branch.today(timezone.now()) + timedelta(days=2)

    assert len(table(read(desk, "stints", first=str(day), last=str(day)))) == 1
    assert read(desk, "stints", "json", first="2001-01-01", last="2001-01-02") == "[]"


@pytest.mark.parametrize(
    "days", [{"first": "soon"}, {"first": "2026-03-02", "last": "2026-03-01"}, {"last": "9999-1-1"}]
)
def test_days_that_cannot_be_are_refused_in_a_sentence(desk, days):
    answer = desk.get(reverse("file-csv", args=["stints"]), days)

    assert answer.status_code == 400
    assert "day" in answer.text


def test_a_file_that_is_not_there(desk):
    assert desk.get("/files/passwords.csv").status_code == 404


@pytest.mark.parametrize("name", NASTY)
def test_a_text_that_looks_like_a_formula_is_text(firm, desk, name):
    customer = firm.booking.job.customer
    customer.name = name
    customer.save()

    row = table(read(desk, "stints"))[0]

    assert row["customer"] == f"'{name}"


def test_numbers_are_left_alone_and_what_is_not_known_is_empty():
    assert [cell(each) for each in (-1, -0.5, None, True, "")] == [-1, -0.5, "", "yes", ""]


@given(st.lists(st.text(st.characters(exclude_categories=["Cs", "Cc"])), min_size=2, max_size=4))
def test_what_goes_out_comes_back_the_same(texts):
    """The import takes off what the export put before a text."""
    file = "".join(csv_lines(["a"] * len(texts), [texts]))

    rows = list(rows_of(file.removeprefix("\ufeff")))

    assert len(rows) == (2 if any(each.strip() for each in texts) else 1)
    if len(rows) == 2:
        expected = [t.strip() for t in texts]
        assert list(rows[1].cells) == expected


def test_a_reader_sees_no_files(firm, client):
    client.force_login(builders.user(of=firm.branch, role=Role.READER, username="r2"))

    assert client.get(reverse("files")).status_code == 403
