"""A backlog brought as a file: all rows or none, with line, column and reason."""

import csv
import io

import pytest

from jobs.models import AuditEvent, Customer, Job
from jobs.models.branches import Units
from jobs.rules.backlog_rows import read_backlog
from jobs.services.backlog import BacklogRefused, check_backlog, take_in_backlog
from tests import builders
from tests.builders import NOW

HEADER = (
    "customer", "e-mail", "telephone", "street", "town", "postal code", "floor", "exposure",
    "area", "system",
)  # fmt: skip
ROW = (
    "Ada Fields", "ada@mail.example", "205-555-0123", "12 Oak Street", "Birmingham", "35203",
    "Garage", "closed garage", "450", "One-day flake",
)  # fmt: skip


def row(**changes):
    """A good row with cells changed by their column, spaces written as underscores."""
    cells = dict(zip(HEADER, ROW, strict=True))
    cells |= {name.replace("_", " "): value for name, value in changes.items()}
    return tuple(cells.values())


def numbered(number, **changes):
    """A good row of a customer of its own."""
    own = {"e-mail": f"c{number}@mail.example", "telephone": f"205-555-{number:04d}"}
    return row(customer=f"Customer {number}", street=f"{number} Oak Street", **own, **changes)


def csv_of(*rows, header=HEADER, separator=","):
    """The file of these rows."""
    text = io.StringIO()
    writer = csv.writer(text, delimiter=separator)
    writer.writerows([header, *rows])
    return text.getvalue().encode()


def said(data, *, us=True):
    """What is wrong with how the file is written: (line, column, reason)."""
    return [(each.line, each.column, each.reason) for each in read_backlog(data, us=us).problems]


def test_every_column_is_read_into_its_field():
    cells = {
        "customer": "Ada Fields", "e-mail": "ada@mail.example", "telephone": "205-555-0123",
        "street": "12 Oak Street", "town": "Birmingham", "region": "AL", "postal code": "35203",
        "latitude": "33.521", "longitude": "-86.802", "zone": "America/Chicago",
        "floor": "Patio", "exposure": "Open patio or drive", "area": "1,000", "edge": "130",
        "cracks": "12.5", "steps": "3", "stem wall": "20", "condition": "Sealer",
        "system": "One-day flake", "wish": "prefers", "day": "6/18/2026",
        "impossible days": "2026-06-19, 2026-06-22 to 2026-06-24",
        "car needed by": "2026-06-20 17:00", "can come soon": "yes", "color": "gray",
        "notes": "two\nlines",
    }  # fmt: skip

    backlog = read_backlog(csv_of(tuple(cells.values()), header=tuple(cells)), us=True)

    assert backlog.problems == ()
    (order,) = backlog.rows
    (floor,) = order.new.floors
    assert floor.area_m2 == pytest.approx(92.903, abs=0.001)  # 1,000 sq ft of 0.09290304 m²
    assert floor.edge_m == pytest.approx(39.624)  # 130 ft of 0.3048 m
    assert (floor.exposure, floor.condition, floor.steps) == ("open", "sealer", 3)
    assert [day.isoformat() for day in order.new.impossible_days] == [
        "2026-06-19", "2026-06-22", "2026-06-23", "2026-06-24",
    ]  # fmt: skip
    assert order.new.wished_day.isoformat() == "2026-06-18"
    assert order.new.car_needed_by.isoformat() == "2026-06-20T17:00:00"
    assert (order.new.notes, order.new.can_come_soon, order.system) == (
        "two\nlines", True, "One-day flake",
    )  # fmt: skip


def test_a_metric_branch_types_square_meters_with_a_decimal_comma():
    backlog = read_backlog(csv_of(row(area="42,5"), separator=";"), us=False)

    assert backlog.rows[0].new.floors[0].area_m2 == 42.5


def test_a_byte_order_mark_and_old_line_ends_do_no_harm():
    data = b"\xef\xbb\xbf" + csv_of(ROW).replace(b"\r\n", b"\r")

    assert (said(data), len(read_backlog(data, us=True).rows)) == ([], 1)


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (csv_of(row(customer="José")).decode().encode("latin-1"), "looks like Windows-1252"),
        (csv_of(ROW).decode().encode("utf-16"), "is UTF-16"),
        (csv_of(ROW).decode().encode("utf-16-le"), "is UTF-16"),
        (csv_of(ROW).decode().encode("utf-32"), "is UTF-32"),
        (b"PK\x03\x04rest", "is a workbook"),
        (b"", "is empty"),
        (b" \r\n\r\n", "is empty"),
        (b"x" * (2 * 1024 * 1024 + 1), "larger than 2 MB"),
    ],
)
def test_a_file_that_is_something_else_is_named(data, reason):
    ((_, column, words),) = said(data)

    assert reason in words
    assert column == ""


def test_a_byte_that_is_not_utf_8_is_shown_on_its_line():
    ((line, _, words),) = said(csv_of(ROW, row(customer="José")).decode().encode("latin-1"))

    assert line == 3
    assert "byte 0xE9" in words


def test_a_nul_is_found_on_its_line():
    ((line, _, words),) = said(csv_of(ROW, row(customer="A\x00da")))

    assert (line, "NUL" in words) == (3, True)


def test_an_unclosed_quote_is_found_where_it_was_opened():
    data = csv_of(ROW) + b'"Bob,bob@mail.example,1\n' + csv_of(ROW)

    ((line, _, words),) = said(data)

    assert line == 3
    assert "never closed" in words


def test_lines_are_those_of_the_file_when_a_cell_spans_several():
    data = csv_of(row(street="12 Oak\nStreet"), row(area="wide"))

    ((line, column, _),) = said(data)

    assert (line, column) == (4, "area")


@pytest.mark.parametrize(
    ("header", "column", "reason"),
    [
        ((*HEADER, "area"), "area", "two columns of this name"),
        ((*HEADER, "Postal_Code"), "postal code", "two columns of this name"),
        ((*HEADER, "collor"), "collor", "is it “color”?"),
        ((*HEADER, ""), "", "Column 11 has no name."),
        (HEADER[:-1], "system", "This column is missing."),
    ],
)
def test_a_header_that_is_not_understood_is_refused(header, column, reason):
    data = csv_of(("x",) * len(header), header=header)

    assert [(where, reason in words) for _, where, words in said(data)] == [(column, True)]


def test_a_row_of_another_length_is_refused():
    ((line, _, words),) = said(csv_of(ROW, (*ROW, "extra")))

    assert (line, words) == (3, "This row has 11 cells; the header has 10.")


def test_a_row_that_says_the_same_as_another_is_refused():
    ((line, _, words),) = said(csv_of(ROW, numbered(2), ROW))

    assert line == 4
    assert "the same as line 2" in words


def test_too_many_rows_are_refused():
    ((_, _, words),) = said(csv_of(*(("x",) * len(HEADER),) * 5001))

    assert "more than 5,000 rows" in words


def test_the_apostrophe_of_an_export_is_taken_off_once():
    backlog = read_backlog(csv_of(row(customer="'=Ada", telephone="'+1 205 555 0123")), us=True)

    assert (backlog.rows[0].new.customer_name, backlog.rows[0].new.telephone) == (
        "=Ada",
        "+1 205 555 0123",
    )


# From here on rows are written.


@pytest.fixture
def branch():
    office = builders.branch()
    builders.system(of=office)
    return office


@pytest.fixture
def by(branch):
    return builders.actor(of=branch)


@pytest.mark.django_db(transaction=True)
def test_all_rows_wait_in_the_order_of_the_file(branch, by):
    data = csv_of(*(numbered(number) for number in range(5)))

    imported = take_in_backlog(branch=branch, data=data, by=by, now=NOW)

    assert (imported.count, imported.again) == (5, False)
    waiting = Job.objects.of_branch(branch).waiting()
    assert [job.customer.name for job in waiting] == [f"Customer {n}" for n in range(5)]
    assert AuditEvent.objects.filter(subject="job", action="take in").count() == 5


@pytest.mark.django_db(transaction=True)
def test_one_bad_row_among_a_hundred_keeps_all_of_them_out(branch, by):
    rows = [numbered(number) for number in range(100)]
    rows[56] = numbered(56, area="0")

    with pytest.raises(BacklogRefused) as refusal:
        take_in_backlog(branch=branch, data=csv_of(*rows), by=by, now=NOW)

    (problem,) = refusal.value.problems
    assert (problem.line, problem.column) == (58, "area")
    assert problem.reason == "A floor has between 11 and 50,000 sq ft, not 0."
    assert (Job.objects.count(), Customer.objects.count()) == (0, 0)


@pytest.mark.django_db(transaction=True)
def test_every_problem_is_told_with_its_line_and_column(branch, by):
    data = csv_of(
        numbered(1, area="wide"),
        numbered(2, system="Chrome"),
        numbered(3, exposure="on the moon", postal_code="00001"),
    )

    with pytest.raises(BacklogRefused) as refusal:
        take_in_backlog(branch=branch, data=data, by=by, now=NOW)

    places = [(problem.line, problem.column) for problem in refusal.value.problems]
    assert places == [(2, "area"), (3, "system"), (4, "exposure"), (4, "postal code")]
    assert "it has: One-day flake" in refusal.value.problems[1].reason


@pytest.mark.django_db(transaction=True)
def test_the_same_file_again_changes_nothing_whoever_brings_it(branch, by):
    data = csv_of(numbered(1), numbered(2))
    take_in_backlog(branch=branch, data=data, by=by, now=NOW)

    colleague = builders.actor(of=branch)
    with_other_line_ends = data.replace(b"\r\n", b"\n")
    again = take_in_backlog(branch=branch, data=with_other_line_ends, by=colleague, now=NOW)

    assert (again.count, again.again, Job.objects.count()) == (2, True, 2)


@pytest.mark.django_db(transaction=True)
def test_the_same_file_in_another_branch_is_another_backlog(branch, by):
    other = builders.branch()
    builders.system(of=other)
    data = csv_of(numbered(1))

    take_in_backlog(branch=branch, data=data, by=by, now=NOW)
    take_in_backlog(branch=other, data=data, by=by, now=NOW)

    assert [job.branch for job in Job.objects.order_by("pk")] == [branch, other]


@pytest.mark.django_db(transaction=True)
def test_the_systems_of_another_branch_are_not_named(branch, by):
    builders.system(of=builders.branch(), name="Secret blend")

    with pytest.raises(BacklogRefused) as refusal:
        check_backlog(branch=branch, data=csv_of(numbered(1, system="Secret blend")), now=NOW)

    assert "Secret blend" not in refusal.value.problems[0].reason


@pytest.mark.django_db(transaction=True)
def test_two_floors_of_one_customer_are_one_customer(branch, by):
    data = csv_of(ROW, row(floor="Porch", exposure="roofed porch"))

    take_in_backlog(branch=branch, data=data, by=by, now=NOW)

    assert (Customer.objects.count(), Job.objects.count()) == (1, 2)


@pytest.mark.django_db(transaction=True)
def test_a_full_file_is_taken_in_without_a_query_a_row_for_people_and_places(
    branch, by, django_assert_max_num_queries
):
    data = csv_of(*(numbered(number) for number in range(1000)))

    # One row of audit is written for each order; the rest is written in bulk.
    with django_assert_max_num_queries(1150):
        take_in_backlog(branch=branch, data=data, by=by, now=NOW)

    assert Job.objects.count() == 1000


@pytest.mark.django_db(transaction=True)
def test_a_metric_branch_brings_places_by_hand():
    office = builders.branch(units=Units.METRIC, country="DE")
    builders.system(of=office)
    header = (*HEADER, "latitude", "longitude", "zone")
    data = csv_of(
        (*row(area="42,5", postal_code=""), "51.05", "13.74", "Europe/Berlin"),
        header=header,
        separator=";",
    )

    take_in_backlog(branch=office, data=data, by=builders.actor(of=office), now=NOW)

    assert Job.objects.get().floors.get().area_m2 == 42.5
