"""The pages that take floors in: the form, the file, and the line of those that wait."""

import re
from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from jobs.models import Job, Role
from jobs.models.branches import Units
from tests import builders

pytestmark = pytest.mark.django_db(transaction=True)
# Pages ask the clock, so days are counted from today.
SOON = date.today() + timedelta(days=20)


@pytest.fixture
def branch():
    return builders.branch()


@pytest.fixture
def system(branch):
    return builders.system(of=branch)


@pytest.fixture
def desk(client, branch):
    """A browser of somebody in the office."""
    client.force_login(builders.user(of=branch))
    return client


@pytest.fixture
def typed(system):
    """What is typed for a two-car garage."""
    return {
        "customer_name": "Ada Fields",
        "telephone": "205-555-0123",
        "email": "ada@mail.example",
        "street": "12 Oak Street",
        "postal_code": "35203",
        "system_id": str(system.pk),
        "day_wish": "any",
        "key": "page-1",
        "floor0-name": "Garage",
        "floor0-exposure": "garage",
        "floor0-area": "450",
        "floor0-edge": "86",
        "floor0-condition": "bare",
        "floor1-condition": "bare",
    }


def said_at(reply, box):
    """The sentences at one box of a page, which must be tied to it for a screen reader."""
    page = reply.content.decode()
    errors = re.search(rf'<ul class="errorlist" id="{box}_error">(.*?)</ul>', page, re.DOTALL)
    assert errors, f"nothing is said at {box}"
    tag = re.search(rf'<(?:input|select|textarea)[^>]*id="{box}"[^>]*>', page)
    if tag:  # radios are described by their group
        assert f"{box}_error" in tag[0]
        assert 'aria-invalid="true"' in tag[0]
    return re.sub(r"<[^>]+>", "", errors[1])


def test_a_floor_that_is_taken_in_goes_on_to_its_best_days(desk, typed):
    reply = desk.post(reverse("take-in"), typed)

    job = Job.objects.get()
    assert reply.status_code == 302
    assert reply.url == reverse("offers", args=[job.pk])
    assert job.floors.get().area_m2 == pytest.approx(41.806, abs=0.001)  # 450 sq ft
    assert job.site.town == "Birmingham"


def test_everything_typed_reaches_the_order(desk, typed):
    typed |= {
        "day_wish": "prefers",
        "wished_day": SOON.isoformat(),
        "impossible_days": f"{SOON + timedelta(1)} to {SOON + timedelta(3)}",
        "car_needed_by": f"{SOON + timedelta(5)}T17:00",
        "can_come_soon": "on",
        "color": "gray",
        "notes": "dog in the yard",
        "access": "gate 4711",
        "power": "30 A in the garage",
        "floor0-cracks": "12.5",
        "floor0-steps": "2",
        "floor0-stem_wall": "20",
        "floor0-spalls": "3",
        "floor1-name": "Patio",
        "floor1-exposure": "open",
        "floor1-area": "1,200",
    }

    desk.post(reverse("take-in"), typed)

    job = Job.objects.get()
    assert (job.day_wish, job.wished_day, len(job.days_off())) == ("prefers", SOON, 3)
    assert (job.can_come_soon, job.color, job.notes) == (True, "gray", "dog in the yard")
    assert (job.site.access, job.site.power) == ("gate 4711", "30 A in the garage")
    assert job.car_needed_by.astimezone(job.site.tz).hour == 17
    garage, patio = job.floors.order_by("pk")
    assert (garage.steps, garage.spalls) == (2, 3)
    assert garage.crack_m == pytest.approx(3.81)  # 12.5 ft of 0.3048 m
    assert patio.area_m2 == pytest.approx(111.484, abs=0.001)  # 1,200 sq ft


def test_what_was_assumed_is_said(desk, typed):
    typed["floor0-edge"] = ""

    reply = desk.post(reverse("take-in"), typed)

    messages = [str(message) for message in reply.wsgi_request._messages]
    # The side of a square of 450 sq ft is 21.2 ft.
    assert "Garage: no edge was given, so 85 ft is assumed, as of a square floor." in messages


@pytest.mark.parametrize(
    ("box", "value", "sentence"),
    [
        ("customer_name", "", "Type the customer"),
        ("telephone", "12", "is not a telephone number"),
        ("email", "ada", "is not an e-mail address"),
        ("street", "", "Type the street and number"),
        ("postal_code", "", "The address has no place"),
        ("postal_code", "00001", "No US postal code 00001"),
        ("system_id", "", "Choose a coating system."),
        ("system_id", "9" * 40, "no such coating system"),
        ("wished_day", "tomorrow", "is not a day"),
        ("wished_day", "2026-02-30", "is not a day"),
        ("impossible_days", "2020-01-01", "has gone by"),
        ("car_needed_by", "17:00", "needs a day and a time"),
        ("floor0-exposure", "", "how the floor lies"),
        ("floor0-area", "0", "between 11 and 50,000 sq ft, not 0."),
        ("floor0-area", "1000000", "between 11 and 50,000 sq ft, not 1,000,000."),
        ("floor0-area", "", "Type the area of the floor in sq ft."),
        ("floor0-area", "big", "is not a number"),
        ("floor0-steps", "1.5", "is not a count"),
        ("floor0-edge", "-3", "between 0 and 6,562 ft"),
    ],
)
def test_bad_input_is_shown_at_its_box_and_the_rest_is_kept(desk, typed, box, value, sentence):
    reply = desk.post(reverse("take-in"), {**typed, box: value})

    assert reply.status_code == 422
    assert sentence in said_at(reply, f"id_{box}")
    assert 'value="ada' in reply.content.decode()
    assert not Job.objects.exists()


def test_a_fixed_day_needs_its_day(desk, typed):
    reply = desk.post(reverse("take-in"), {**typed, "day_wish": "fixed"})

    assert "the day that the customer wants" in said_at(reply, "id_wished_day")


def test_a_second_floor_is_checked_like_the_first(desk, typed):
    reply = desk.post(reverse("take-in"), {**typed, "floor1-area": "9"})

    assert "not 9." in said_at(reply, "id_floor1-area")
    assert "how the floor lies" in said_at(reply, "id_floor1-exposure")


def test_everything_that_is_wrong_is_listed_at_once(desk, typed):
    reply = desk.post(reverse("take-in"), {"key": "k"})

    page = reply.content.decode()
    listed = re.findall(r'<li><a href="#(id_[^"]+)">', page)
    assert {
        "id_customer_name", "id_street", "id_postal_code", "id_telephone", "id_floor0-area",
        "id_floor0-exposure",
    } <= set(listed)  # fmt: skip


def test_the_page_sent_twice_makes_one_order(desk, typed):
    first = desk.post(reverse("take-in"), typed)
    again = desk.post(reverse("take-in"), typed)

    assert (first.url, Job.objects.count()) == (again.url, 1)


def test_the_page_sent_again_with_other_words_is_asked_about_and_gets_a_new_key(desk, typed):
    desk.post(reverse("take-in"), typed)

    reply = desk.post(reverse("take-in"), {**typed, "color": "tan"})

    assert reply.status_code == 409
    assert "already sent" in reply.content.decode()
    key = re.search(r'name="key" value="([^"]+)"', reply.content.decode())[1]
    assert key != "page-1"
    assert desk.post(reverse("take-in"), {**typed, "color": "tan", "key": key}).status_code == 302
    assert Job.objects.count() == 2


def test_every_page_has_a_key_of_its_own(desk, system):
    pages = [desk.get(reverse("take-in")).content.decode() for _ in range(2)]

    keys = {re.search(r'name="key" value="([0-9a-f]{32})"', page)[1] for page in pages}
    assert len(keys) == 2


def test_a_system_of_another_branch_is_neither_shown_nor_taken(desk, typed):
    foreign = builders.system(of=builders.branch(), name="Foreign blend")

    page = desk.get(reverse("take-in")).content.decode()
    reply = desk.post(reverse("take-in"), {**typed, "system_id": str(foreign.pk)})

    assert "Foreign blend" not in page
    assert "no such coating system" in said_at(reply, "id_system_id")


def test_a_metric_branch_types_square_meters_and_its_place(client):
    office = builders.branch(units=Units.METRIC, country="DE", zone="Europe/Berlin")
    client.force_login(builders.user(of=office))
    system = builders.system(of=office)
    typed = {
        "customer_name": "Ada", "telephone": "0351 555 0123", "street": "Gasse 1",
        "town": "Dresden", "latitude": "51.05", "longitude": "13.74", "zone": "Europe/Berlin",
        "system_id": str(system.pk), "day_wish": "any", "floor0-exposure": "garage",
        "floor0-area": "42,5", "floor0-condition": "bare",
    }  # fmt: skip

    assert "Area in m²" in client.get(reverse("take-in")).content.decode()
    client.post(reverse("take-in"), typed)

    assert Job.objects.get().floors.get().area_m2 == 42.5


@pytest.mark.parametrize("name", ["take-in", "import-backlog"])
@pytest.mark.parametrize("role", [Role.LEAD, Role.INSTALLER, Role.READER])
def test_only_the_office_takes_floors_in(client, branch, name, role):
    client.force_login(builders.user(of=branch, role=role))

    assert client.get(reverse(name)).status_code == 403
    assert client.post(reverse(name)).status_code == 403


@pytest.mark.parametrize("name", ["take-in", "import-backlog", "waiting"])
def test_strangers_sign_in_first(client, name):
    assert client.get(reverse(name)).url.startswith("/sign-in/")


# A backlog as a file


def backlog(system, *, area="450"):
    return (
        "customer,telephone,street,postal code,exposure,area,system\n"
        f"Ada Fields,205-555-0123,12 Oak Street,35203,garage,450,{system}\n"
        f"Ben Stone,205-555-0188,7 Elm Street,35203,patio,{area},{system}\n"
    )


def as_file(text):
    return SimpleUploadedFile("backlog.csv", text.encode(), "text/csv")


@pytest.mark.parametrize("way", ["file", "text"])
def test_a_backlog_is_taken_in_from_a_file_or_from_text(desk, system, way):
    text = backlog(system)
    posted = {"file": as_file(text)} if way == "file" else {"text": text}

    reply = desk.post(reverse("import-backlog"), {**posted, "action": "take-in"}, follow=True)

    assert Job.objects.count() == 2
    assert "2 floors are in the line now." in reply.content.decode()


def test_a_backlog_can_be_looked_at_first_and_is_kept_in_the_page(desk, system):
    reply = desk.post(
        reverse("import-backlog"), {"file": as_file(backlog(system)), "action": "check"}
    )

    page = reply.content.decode()
    assert "All 2 rows can be taken in" in page
    assert "Ben Stone,205-555-0188" in page
    assert not Job.objects.exists()


def test_a_backlog_that_was_looked_at_as_a_file_and_brought_as_text_is_the_same(desk, system):
    text = backlog(system)
    desk.post(reverse("import-backlog"), {"file": as_file(text)})

    # A browser sends the text of a box with line ends of its own.
    reply = desk.post(reverse("import-backlog"), {"text": text.replace("\n", "\r\n")}, follow=True)

    assert "was brought before" in reply.content.decode()
    assert Job.objects.count() == 2


def test_a_bad_row_is_shown_with_line_column_and_reason(desk, system):
    reply = desk.post(reverse("import-backlog"), {"text": backlog(system, area="<b>huge</b>")})

    page = reply.content.decode()
    assert reply.status_code == 422
    assert "Nothing was taken in: one thing is not right in this file." in page
    assert "&lt;b&gt;huge&lt;/b&gt;" in page
    assert "<b>huge" not in page
    row = re.search(r'data-label="Line">(\d+)</td>\s*<td data-label="Column">(\w+)', page)
    assert row.groups() == ("3", "area")
    assert not Job.objects.exists()


def test_only_the_first_two_hundred_faults_are_shown(desk, system):
    header, row, _ = backlog(system).splitlines()
    rows = [row.replace("450", "0").replace("12 Oak", f"{n} Oak") for n in range(250)]

    reply = desk.post(reverse("import-backlog"), {"text": "\n".join([header, *rows])})

    page = reply.content.decode()
    assert page.count('data-label="Line"') == 200
    assert "And 50 more" in page


def test_nothing_brought_is_said_so(desk, system):
    reply = desk.post(reverse("import-backlog"), {})

    assert "The file is empty." in reply.content.decode()


@pytest.mark.parametrize("country", ["US", "DE"])
def test_the_sample_can_be_taken_in(client, country):
    units = Units.US if country == "US" else Units.METRIC
    office = builders.branch(country=country, units=units)
    builders.system(of=office)
    client.force_login(builders.user(of=office))

    sample = client.get(reverse("import-backlog") + "?sample")
    client.post(reverse("import-backlog"), {"file": as_file(sample.content.decode())})

    assert sample["Content-Disposition"].startswith("attachment")
    assert Job.objects.count() == 2


# The line


def test_floors_wait_in_the_order_they_came(desk, branch):
    now = timezone.now()
    for days, name in [(3, "Second"), (9, "First"), (1, "Third")]:
        site = builders.site(owner=builders.customer(of=branch, name=f"{name} in line"))
        floor = builders.floor(at=site)
        builders.job(of=branch, floors=[floor], created_at=now - timedelta(days=days))

    page = desk.get(reverse("waiting")).content.decode()

    assert re.findall(r"(\w+) in line<br>", page) == ["First", "Second", "Third"]
    assert re.findall(r'data-label="Days waiting">(\d+)<', page) == ["9", "3", "1"]


def test_a_row_says_what_the_office_needs_to_choose(desk, branch):
    today = branch.today(timezone.now())
    days_off = [today + timedelta(days=number) for number in (5, 6, 7, 10)]
    job = builders.job(
        of=branch,
        area_m2=41.806,
        exposure="open",
        day_wish="prefers",
        wished_day=today + timedelta(days=8),
        impossible_days=[day.isoformat() for day in [today - timedelta(days=1), *days_off]],
        car_needed_by=datetime(2036, 6, 12, 22, 0, tzinfo=UTC),
    )

    page = desk.get(reverse("waiting")).content.decode()

    assert "450 sq ft, open patio or drive" in page
    assert "Prefers a day: " in page
    assert page.count(" to ") >= 1
    assert "Car back by Thu Jun 12, 5:00 PM" in page
    assert f'href="{reverse("offers", args=[job.pk])}"' in page


@pytest.mark.parametrize(
    ("looked_for", "found"),
    [
        ("ada", True),
        ("oak st", True),
        ("205-555-0123", True),
        ("(205) 555 0123", True),
        ("5550123", True),
        ("Ada's", False),
        ("2055550124", False),
        ("%", False),
        ("12", False),
    ],
)
def test_somebody_is_found_by_name_street_or_telephone(desk, branch, looked_for, found):
    owner = builders.customer(of=branch, name="Ada Fields", telephone="205.555-0123")
    site = builders.site(owner=owner, street="Oak Street")
    builders.job(of=branch, floors=[builders.floor(at=site)])

    page = desk.get(reverse("waiting"), {"q": looked_for}).content.decode()

    assert ("Ada Fields<br>" in page) is found


def test_the_line_of_another_branch_is_not_seen(desk, branch):
    other = builders.branch()
    site = builders.site(owner=builders.customer(of=other, name="Somebody Else"))
    builders.job(of=other, floors=[builders.floor(at=site)])

    for query in ({}, {"q": "Somebody"}):
        page = desk.get(reverse("waiting"), query).content.decode()
        assert "Somebody Else<br>" not in page


def test_a_long_line_has_pages_and_few_queries(desk, branch, django_assert_max_num_queries):
    system = builders.system(of=branch)
    for _ in range(55):
        builders.job(of=branch, using=system)

    with django_assert_max_num_queries(31):  # five say why there is no forecast
        page = desk.get(reverse("waiting")).content.decode()

    assert "Page 1 of 2" in page
    assert page.count('data-label="Days waiting"') == 50
    assert "Page 2 of 2" in desk.get(reverse("waiting"), {"page": "999"}).content.decode()


def test_a_reader_sees_the_line_without_buttons(client, branch):
    builders.job(of=branch)
    client.force_login(builders.user(of=branch, role=Role.READER))

    page = client.get(reverse("waiting")).content.decode()

    assert "Best days" not in page
    assert "In line" in page
