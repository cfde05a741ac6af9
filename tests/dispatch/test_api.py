"""The API over HTTP: the pages' own services and reads, strict input, sentences for every no.

Problem details are those of RFC 9457 section 3; JSON is that of RFC 8259, whose section 4
leaves the meaning of a key that comes twice open, so here it is refused.
"""

import json
from datetime import UTC, date, datetime, timedelta
from itertools import count

import pytest
from django.conf import settings
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from dispatch.models import Booking, BookingState, Link, Stint, StoredVerdict
from jobs.models import IdempotencyKey, Job, JobState, Membership, Role
from tests import builders
from tests.builders import NOW
from tests.dispatch import days
from tests.racing import race

pytestmark = pytest.mark.django_db(transaction=True)

PAST = timedelta(days=15)
_keys = count(1)


@pytest.fixture(autouse=True)
def clock(monkeypatch):
    """It is 10 AM on Monday, June 1, 2026."""
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def house(transactional_db):
    """A branch with one crew, one grinder, a system to sell and mild dry days."""
    branch = builders.branch()
    builders.system(of=branch)
    builders.crew(of=branch, name="North")
    builders.machine(of=branch, name="Grinder 1")
    builders.forecast(
        at=branch.depot_place,
        start=NOW - PAST,
        count=24 * 24,
        issued_at=NOW - timedelta(minutes=30),
    )
    return branch


class Caller:
    """Somebody who is signed in and speaks JSON."""

    def __init__(self, user, **given):
        self.client = Client(**given)
        if user is not None:
            self.client.force_login(user, "django.contrib.auth.backends.ModelBackend")

    def get(self, path, **query):
        return self.client.get(f"/api/v1/{path}", query)

    def post(self, path, body, *, key=None, kind="application/json", **headers):
        text = body if isinstance(body, str | bytes) else json.dumps(body)
        headers = {"Idempotency-Key": key or f"key-{next(_keys)}", **headers}
        return self.client.post(f"/api/v1/{path}", text, content_type=kind, headers=headers)


@pytest.fixture
def office(house):
    return Caller(builders.user(of=house))


def waiting(branch, **given):
    return builders.job(of=branch, created_at=NOW, **given)


def problem(reply, status):
    """The problem that a refusal answers, with what each of them must have."""
    assert reply.status_code == status, reply.content
    assert reply["Content-Type"] == "application/problem+json"
    said = reply.json()
    assert said["status"] == status
    assert said["code"]
    assert said["detail"].strip()
    return said


def order(branch, **given):
    """An order as a program sends it."""
    values = {
        "customer_name": "Ada Fields",
        "email": "ada@mail.example",
        "street": "12 Oak Street",
        "postal_code": "35203",
        "system_id": branch.systems.get().pk,
        "floors": [{"name": "Garage", "exposure": "garage", "area_m2": 42.0, "edge_m": 26}],
    }
    return {**values, **given}


def best(caller, job):
    """The best offer for a floor, with the version to book it by."""
    found = caller.get(f"floors/{job.pk}/offers").json()
    return {"offer": found["best"][0]["key"], "version": found["version"]}


# Taking in and the line


def test_a_floor_that_is_taken_in_waits_in_the_line(house, office):
    reply = office.post("floors", order(house))

    assert reply.status_code == 201
    taken = reply.json()
    assert Job.objects.get(pk=taken["id"]).state == JobState.WAITING
    assert (taken["site"]["town"], taken["site"]["zone"]) == ("Birmingham", "America/Chicago")
    assert taken["floors"][0]["area_m2"] == 42.0
    line = office.get("floors").json()
    assert [each["id"] for each in line["results"]] == [taken["id"]]
    assert office.get("floors", q="nobody").json()["count"] == 0
    assert office.get("floors", q="ada").json()["count"] == 1


def test_what_was_assumed_is_said(house, office):
    floor = {"exposure": "garage", "area_m2": 36}

    taken = office.post("floors", order(house, floors=[floor])).json()

    assert "no edge was given" in taken["remarks"][0]
    assert taken["floors"][0]["edge_m"] == 24  # a square of 36 m² has an edge of 4 times 6 m


def test_a_time_without_a_zone_is_one_on_the_sites_clock(house, office):
    taken = office.post("floors", order(house, car_needed_by="2026-06-12T17:00")).json()

    # Chicago is five hours behind UTC in June (tz database, America/Chicago).
    assert taken["car_needed_by"] == "2026-06-12T22:00:00Z"


def test_a_repeat_gets_the_same_floor_and_another_order_by_that_key_is_refused(house, office):
    first = office.post("floors", order(house), key="one")
    again = office.post("floors", order(house), key="one")
    other = office.post("floors", order(house, street="14 Oak Street"), key="one")

    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json()["id"] == again.json()["id"]
    assert problem(other, 409)["code"] == "key_reused"
    assert Job.objects.count() == 1


def test_one_persons_key_says_nothing_to_another(house, office):
    colleague = Caller(builders.user(of=house))

    first = office.post("floors", order(house), key="one").json()
    second = colleague.post("floors", order(house, street="14 Oak Street"), key="one").json()

    assert first["id"] != second["id"]


def test_the_services_own_sentences_come_by_field(house, office):
    reply = office.post("floors", order(house, email="", street="12 Oak Street", wished_day=None))

    said = problem(reply, 422)
    assert said["field"] == "telephone"
    assert said["errors"]["telephone"] == [
        "Type a telephone number or an e-mail address; one of them is needed."
    ]


def test_fields_inside_floors_are_named_by_their_place(house, office):
    floors = [
        {"exposure": "garage", "area_m2": 42},
        {"exposure": "roof", "area_m2": True, "colour": "red"},
    ]

    said = problem(office.post("floors", order(house, floors=floors)), 400)

    assert said["errors"] == {"floors.1.colour": ["There is no such field here."]}
    floors[1].pop("colour")
    said = problem(office.post("floors", order(house, floors=floors)), 400)
    assert set(said["errors"]) == {"floors.1.exposure", "floors.1.area_m2"}


def test_a_system_of_another_branch_does_not_exist(house, office):
    elsewhere = builders.system(of=builders.branch())

    said = problem(office.post("floors", order(house, system_id=elsewhere.pk)), 400)

    assert said["errors"] == {"system_id": ["There is no such coating system in this branch."]}
    assert not Job.objects.exists()


# Offers and booking


def test_offers_carry_reasons_verdicts_and_every_other_day_its_why(house, office):
    job = waiting(house)

    found = office.get(f"floors/{job.pk}/offers").json()

    assert len(found["best"]) == 5
    first = found["best"][0]
    assert first["verdict"]["level"] == "go"
    assert first["crew"]["name"] == "North"
    assert first["start"] == "2026-06-02T12:00:00Z"  # 7 AM in Chicago
    assert first["walk_on"] < first["drive_on"]
    assert first["cost"] == pytest.approx(sum(part["amount"] for part in first["cost_parts"]))
    assert found["forecast"]["age_h"] == 0.5
    assert all(each["why"] for each in found["refused"])
    lists = ("best", "others", "possible", "refused")
    shown = {each["day"] for name in lists for each in found[name]}
    assert shown == {str(date(2026, 6, 1) + timedelta(days=n)) for n in range(91)}


def test_without_a_forecast_nothing_is_green_and_that_is_said(house, office):
    house.depot_place.forecasts.all().delete()
    job = waiting(house)

    found = office.get(f"floors/{job.pk}/offers").json()

    assert found["forecast"] is None
    assert "go" not in {each["verdict"]["level"] for each in (*found["best"], *found["others"])}
    assert found["nearby"] == "No forecast has been fetched for this place yet."
    assert found["nothing"] or found["best"]


def test_an_offer_is_booked_as_on_the_page(house, office):
    job = waiting(house)

    reply = office.post(f"floors/{job.pk}/bookings", best(office, job))

    assert reply.status_code == 201
    made = reply.json()
    assert reply["Location"] == f"/api/v1/bookings/{made['id']}"
    assert (made["floor"], made["state"], made["promise"]) == (job.pk, "booked", "confirmed")
    stint = made["stints"][0]
    assert stint["start"] == "2026-06-02T12:00:00Z"
    assert stint["verdict"]["level"] == "go"
    assert stint["verdict"]["forecast"]["source"] == "nws"
    assert [each["name"] for each in stint["machines"]] == ["Grinder 1"]
    assert Link.objects.filter(booking_id=made["id"]).count() == 1
    assert office.get(f"bookings/{made['id']}").json() == made


def test_a_hold_lapses_by_itself(house, office):
    job = waiting(house)

    made = office.post(f"floors/{job.pk}/bookings", {**best(office, job), "hold": True}).json()

    assert (made["state"], made["held_until"]) == ("held", "2026-06-01T15:30:00Z")


@pytest.mark.parametrize("hold", [False, True])
def test_a_repeat_gets_the_same_booking_even_later(house, office, monkeypatch, hold):
    job = waiting(house)
    body = {**best(office, job), "hold": hold}

    first = office.post(f"floors/{job.pk}/bookings", body, key="one")
    monkeypatch.setattr(timezone, "now", lambda: NOW + timedelta(minutes=2))
    again = office.post(f"floors/{job.pk}/bookings", body, key="one")
    other = office.post(f"floors/{job.pk}/bookings", {**body, "hold": not hold}, key="one")

    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json()["id"] == again.json()["id"]
    assert problem(other, 409)["code"] == "key_reused"
    assert Booking.objects.count() == 1


def test_repeats_at_the_same_instant_all_get_the_one_booking(house, office):
    job = waiting(house)
    body = best(office, job)

    def book(_number):
        reply = office.post(f"floors/{job.pk}/bookings", body, key="one")
        return reply.status_code, reply.json().get("id")

    answers = race(5, book)

    made = Booking.objects.get()
    assert answers == [("ok", str((201, made.pk)))] * 5


def test_of_five_who_want_one_crew_one_gets_it_and_four_hear_whose_it_is(house, office):
    jobs = [waiting(house) for _ in range(5)]
    bodies = [best(office, job) for job in jobs]

    def book(number):
        path = f"floors/{jobs[number].pk}/bookings"
        reply = office.post(path, bodies[number], key=f"racer-{number}")
        return reply.status_code, reply.json().get("detail", "")

    answers = sorted(text for _, text in race(5, book))

    assert answers[0].startswith("(201"), answers
    lost = "(409, 'North is already booked Tue Jun 2"
    assert all(text.startswith(lost) for text in answers[1:]), answers
    assert Booking.objects.count() == 1


def test_who_comes_second_for_a_crew_hears_who_has_it(house, office):
    mine, theirs = waiting(house), waiting(house)
    body = best(office, mine)
    office.post(f"floors/{theirs.pk}/bookings", best(office, theirs))

    said = problem(office.post(f"floors/{mine.pk}/bookings", body), 409)

    assert said["code"] == "offer_gone"
    assert said["detail"].startswith("North is already booked Tue Jun 2")
    assert theirs.site.street in said["detail"]
    assert said["version"] == mine.version
    assert Booking.objects.count() == 1


def test_who_comes_second_for_a_floor_hears_the_day_and_the_version(house, office):
    job = waiting(house)
    body = best(office, job)
    office.post(f"floors/{job.pk}/bookings", body)

    said = problem(office.post(f"floors/{job.pk}/bookings", body), 409)

    assert said["code"] == "already_booked"
    assert "Ada Fields already has a booking: North, Tue Jun 2" in said["detail"]
    assert said["version"] == body["version"] + 1
    assert problem(office.get(f"floors/{job.pk}/offers"), 409)["code"] == "already_booked"


def test_an_old_version_is_refused_with_the_new_one(house, office):
    job = waiting(house)
    body = best(office, job)
    Job.objects.filter(pk=job.pk).update(version=7)

    said = problem(office.post(f"floors/{job.pk}/bookings", body), 409)

    assert (said["code"], said["version"]) == ("stale", 7)
    assert not Booking.objects.exists()


def test_a_crew_of_another_branch_is_never_booked(house, office):
    job = waiting(house)
    stranger = builders.crew(of=builders.branch())
    offer = f"{stranger.pk}@2026-06-02T12:00Z"

    said = problem(
        office.post(f"floors/{job.pk}/bookings", {"offer": offer, "version": job.version}), 400
    )

    assert (said["field"], said["detail"]) == ("offer", "There is no such crew in this branch.")


@pytest.mark.parametrize(
    "offer", ["", "x", "1@2026-02-30T12:00Z", "1@2026-13-01T12:00Z", "1@9999-12-31T12:00Z", 5, None]
)
def test_an_offer_that_cannot_be_is_refused_by_name(house, office, offer):
    job = waiting(house)

    said = problem(
        office.post(f"floors/{job.pk}/bookings", {"offer": offer, "version": job.version}), 400
    )

    assert said["field"] == "offer"


@pytest.mark.parametrize("key", ["", "a b", "é", "x" * 101])
def test_a_booking_needs_a_key_that_can_be_kept(house, office, key):
    job = waiting(house)
    path = f"/api/v1/floors/{job.pk}/bookings"

    reply = office.client.post(
        path, json.dumps(best(office, job)), "application/json", headers={"Idempotency-Key": key}
    )

    assert problem(reply, 400)["field"] == "Idempotency-Key"
    assert not IdempotencyKey.objects.exists()


# What becomes of a booking


@pytest.fixture
def booked(house, office):
    """A floor that is booked for Tuesday."""
    job = waiting(house)
    made = office.post(f"floors/{job.pk}/bookings", best(office, job)).json()
    return Booking.objects.get(pk=made["id"])


def test_a_booking_moves_to_one_of_its_offers(office, booked):
    found = office.get(f"bookings/{booked.pk}/offers").json()
    whys = {each["day"]: each["why"] for each in found["refused"]}
    assert whys["2026-06-02"] == "That is where it stands now."
    offer = found["best"][1]
    body = {"offer": offer["key"], "version": found["version"], "why": "The customer asked."}

    moved = office.post(f"bookings/{booked.pk}/move", body).json()

    assert moved["stints"][0]["start"] == offer["start"]
    assert (moved["moves"], moved["version"]) == (1, booked.version + 1)
    lost = problem(office.post(f"bookings/{booked.pk}/move", body), 409)
    assert (lost["code"], lost["version"]) == ("stale", moved["version"])


def test_a_hold_is_confirmed(house, office):
    job = waiting(house)
    held = office.post(f"floors/{job.pk}/bookings", {**best(office, job), "hold": True}).json()

    reply = office.post(f"bookings/{held['id']}/confirm", {"version": held["version"]})

    assert reply.status_code == 200
    sure = reply.json()
    assert (sure["state"], sure["promise"], sure["held_until"]) == ("booked", "confirmed", None)


def test_a_booking_is_called_off_with_a_reason_and_its_floor_waits_again(office, booked):
    path = f"bookings/{booked.pk}/call-off"

    silent = office.post(path, {"version": booked.version, "why": "  "})
    assert problem(silent, 400)["field"] == "why"
    gone = office.post(path, {"version": booked.version, "why": "Rain."}).json()

    assert (gone["state"], gone["called_off_why"]) == ("called_off", "Rain.")
    assert [each["id"] for each in office.get("floors").json()["results"]] == [booked.job_id]
    again = problem(office.post(path, {"version": gone["version"], "why": "Rain."}), 409)
    assert (again["code"], again["version"]) == ("cannot_change", gone["version"])
    assert problem(office.get(f"bookings/{booked.pk}/offers"), 409)["code"] == "cannot_change"


# Week and verdicts


def test_the_week_is_the_one_of_the_page(house, office, booked):
    week = office.get("week", day="2026-06-03").json()

    assert week["monday"] == "2026-06-01"
    assert week["days"][0]["label"] == "Mon Jun 1"
    assert week["days"][0]["start"] == "2026-06-01T05:00:00Z"
    assert len(week["days"][1]["rain_chance_pct"]) == 24
    (crew,) = week["crews"]
    (stint,) = crew["stints"]
    kept = Stint.objects.get(booking=booked)
    assert stint["booking"] == booked.pk
    for name in ("start", "end"):
        away = datetime.fromisoformat(stint[name]) - getattr(kept, name)
        assert abs(away) <= timedelta(seconds=1)
    assert stint["level"] == "go"
    assert office.get("week").json() == week


def test_a_week_without_a_forecast_has_nulls(house, office):
    week = office.get("week", day="2030-01-01").json()

    assert set(week["days"][0]["rain_chance_pct"]) == {None}
    assert set(week["days"][0]["margin_c"]) == {None}


def test_every_open_stint_has_its_latest_verdict_and_none_is_green_unjudged(house, office, booked):
    other = days.book(house, builders.crew(of=house), datetime(2026, 6, 9, 13, tzinfo=UTC))

    shown = office.get("verdicts").json()["results"]

    assert [each["booking"] for each in shown] == [booked.pk, other.pk]
    assert (shown[0]["level"], shown[0]["verdict"]["forecast"]["age_h"]) == ("go", 0.5)
    assert (shown[1]["level"], shown[1]["verdict"]) == ("unknown", None)
    StoredVerdict.objects.update(latest=False)
    assert {each["level"] for each in office.get("verdicts").json()["results"]} == {"unknown"}


def test_pages_follow_one_another(house, office):
    first, second = waiting(house), waiting(house)

    page = office.get("floors", size=1).json()
    following = office.client.get(page["next"]).json()

    assert [page["results"][0]["id"], following["results"][0]["id"]] == [first.pk, second.pk]
    problem(office.get("floors", page=99), 404)


# Who may


READS = ["floors", "bookings/{booking}", "week", "verdicts"]
DESK_READS = ["floors/{floor}/offers", "bookings/{booking}/offers"]
WRITES = {
    "floors": {},
    "floors/{floor}/bookings": {"offer": "1@2026-06-02T12:00Z", "version": 0},
    "bookings/{booking}/move": {"offer": "1@2026-06-02T12:00Z", "version": 0},
    "bookings/{booking}/confirm": {"version": 0},
    "bookings/{booking}/call-off": {"version": 0, "why": "Rain."},
}


@pytest.mark.parametrize("role", [Role.LEAD, Role.INSTALLER, Role.READER])
def test_who_only_reads_changes_nothing(house, booked, role):
    caller = Caller(builders.user(of=house, role=role))
    ids = {"floor": booked.job_id, "booking": booked.pk}

    for path in READS:
        assert caller.get(path.format(**ids)).status_code == 200
    for path in DESK_READS:
        assert problem(caller.get(path.format(**ids)), 403)["code"] == "not_allowed"
    for path, body in WRITES.items():
        assert problem(caller.post(path.format(**ids), body), 403)["code"] == "not_allowed"
    booked.refresh_from_db()
    assert booked.state == BookingState.BOOKED
    assert Job.objects.count() == 1


def test_another_branchs_rows_are_not_there(house, booked):
    elsewhere = builders.branch()
    caller = Caller(builders.user(of=elsewhere, role=Role.OWNER))
    ids = {"floor": booked.job_id, "booking": booked.pk}
    before = (booked.version, booked.state)

    for path in (*READS, *DESK_READS):
        reply = caller.get(path.format(**ids))
        if "{" in path:
            assert "Ada" not in problem(reply, 404)["detail"]
        else:
            assert "Ada" not in reply.content.decode()
    for path, body in WRITES.items():
        if "{" in path:
            problem(caller.post(path.format(**ids), body), 404)
    assert problem(caller.get("floors", branch=house.slug), 404)["field"] == "branch"
    booked.refresh_from_db()
    assert (booked.version, booked.state) == before


def test_who_works_in_two_branches_names_one(house, booked):
    second = builders.branch(name="A first by name")
    person = builders.user(of=house)
    Membership.objects.create(user=person, branch=second, role=Role.READER)
    caller = Caller(person)

    problem(caller.get(f"bookings/{booked.pk}"), 404)
    assert caller.get(f"bookings/{booked.pk}", branch=house.slug).status_code == 200
    # The role counts that the person has in the branch they name.
    problem(caller.post(f"floors?branch={second.slug}", order(house)), 403)
    body = {"version": booked.version, "why": "Rain."}
    named = f"bookings/{booked.pk}/call-off?branch={house.slug}"
    assert caller.post(named, body).status_code == 200


def test_strangers_and_people_without_a_branch_are_refused(house, booked):
    ids = {"floor": booked.job_id, "booking": booked.pk}
    for path in (each.format(**ids) for each in (*READS, *DESK_READS, "nothing/here")):
        problem(Caller(None).get(path), 401)
        problem(Caller(builders.user()).get(path), 403)


def test_a_role_that_is_taken_away_counts_at_once(house):
    person = builders.user(of=house)
    caller = Caller(person)
    assert caller.get("week").status_code == 200

    Membership.objects.filter(user=person).delete()

    problem(caller.get("week"), 403)


def test_a_write_from_another_site_is_refused(house):
    caller = Caller(builders.user(of=house), enforce_csrf_checks=True)

    problem(caller.post("floors", order(house)), 403)
    assert not Job.objects.exists()


def test_answers_are_kept_by_nobody(office):
    assert "no-store" in office.get("week")["Cache-Control"]
    assert "no-store" in office.get("floors", page=99)["Cache-Control"]


# The description


def test_the_description_in_the_repository_is_the_one_of_the_code(tmp_path):
    written = tmp_path / "openapi.yaml"

    call_command("spectacular", file=str(written), validate=True, fail_on_warn=True)

    kept = settings.BASE_DIR / "deploy/openapi.yaml"
    assert kept.read_text() == written.read_text(), (
        "write it anew: .venv/bin/python manage.py spectacular --file deploy/openapi.yaml"
    )


def test_the_description_is_for_the_office(house, office):
    reader = Caller(builders.user(of=house, role=Role.READER))

    assert office.get("schema").status_code == 200
    assert office.get("docs").status_code == 200
    for path in ("schema", "docs"):
        assert reader.get(path).status_code == 403
    assert Caller(None).get("schema").status_code == 401
    assert Caller(None).get("docs").status_code == 302


# What cannot be read


NOT_JSON = {
    "empty": "",
    "cut off": '{"version": ',
    "list": "[]",
    "null": "null",
    "number": "5",
    "deep list": "[" * 100_000,
    "deep object": '{"a":' * 50_000,
    "deep and whole": '{"a":' + "[" * 60 + "]" * 60 + "}",
    "NaN": '{"version": NaN}',
    "infinity": '{"version": -Infinity}',
    "too large a number": '{"version": 1e999}',
    "5000 digits": '{"version": ' + "9" * 5000 + "}",
    "twice": '{"version": 1, "version": 2}',
    "twice inside": '{"version": {"a": 1, "a": 2}}',
    "half a character": '{"\\ud800": 1}',
    "half a character in a value": '{"version": "\\udfff"}',
    "bytes": b'{"version": "\xff"}',
    "byte order mark": b'\xef\xbb\xbf{"version": 1}',
    "NUL": '{"version": "\x00"}',
}


@pytest.mark.parametrize("text", NOT_JSON.values(), ids=NOT_JSON)
def test_bad_json_is_refused_and_never_a_fault(house, office, booked, text):
    said = problem(office.post(f"bookings/{booked.pk}/confirm", text), 400)

    assert said["code"] in {"parse_error", "invalid"}
    before = booked.version
    booked.refresh_from_db()
    assert booked.version == before


@pytest.mark.parametrize(
    "version", [True, -1, 1.5, 2**31, 10**30, "x", None, [], {}, "9" * 12], ids=repr
)
def test_a_version_is_a_small_whole_number(office, booked, version):
    said = problem(office.post(f"bookings/{booked.pk}/confirm", {"version": version}), 400)

    assert said["field"] == "version"


def test_unknown_keys_are_refused_by_name(office, booked):
    body = {"version": booked.version, "state": "done", "branch": 3}

    said = problem(office.post(f"bookings/{booked.pk}/confirm", body), 400)

    assert said["errors"] == {
        "branch": ["There is no such field here."],
        "state": ["There is no such field here."],
    }


@pytest.mark.parametrize(
    "day",
    [
        *("abc", "0000-00-00", "0001-01-01", "1999-12-31", "2101-01-01", "9999-12-31"),
        *("2026-02-30", "2026-06-01T10:00", "２０２６", "x" * 5000, ""),
    ],
    ids=lambda day: day[:20],
)
def test_days_lie_between_2000_and_2100(house, office, day):
    assert problem(office.get("week", day=day), 400)["field"] == "day"
    body = order(house, day_wish="prefers", wished_day=day)
    assert problem(office.post("floors", body), 400)["field"] == "wished_day"


@pytest.mark.parametrize("day", ["2000-01-01", "2100-12-31", "2026-11-01", "2026-03-08"])
def test_the_first_and_last_day_and_those_of_the_clocks_have_a_week(office, day):
    assert office.get("week", day=day).status_code == 200


@pytest.mark.parametrize(
    "moment", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:00-12:00", "x", 5, [], True]
)
def test_moments_lie_between_2000_and_2100(house, office, moment):
    said = problem(office.post("floors", order(house, car_needed_by=moment)), 400)

    assert said["field"] == "car_needed_by"


@pytest.mark.parametrize("area", [True, "42", None, [], -1, 10**30, 10**400])
def test_an_area_is_a_number(house, office, area):
    floors = [{"exposure": "garage", "area_m2": area}]

    said = problem(office.post("floors", order(house, floors=floors)), 400)

    assert said["field"] == "floors.0.area_m2"


@pytest.mark.parametrize("floors", [[], {}, "x", None, [None], [[]], [{}] * 13])
def test_floors_are_a_list_of_one_to_twelve(house, office, floors):
    said = problem(office.post("floors", order(house, floors=floors)), 400)

    assert said["field"].startswith("floors")


@pytest.mark.parametrize(
    "query",
    ["page=0", "page=x", "page=9999999999999", "size=0", "size=201", "order=id", "page=1&page=2"],
)
def test_queries_are_checked_like_bodies(office, query):
    said = problem(office.client.get(f"/api/v1/floors?{query}"), 400)

    assert said["field"] == query.partition("=")[0]


def test_ids_beyond_every_table_are_not_there(office):
    for number in (0, 2**63, 10**30):
        problem(office.get(f"bookings/{number}"), 404)
        problem(office.get(f"floors/{number}/offers"), 404)
    problem(office.get("bookings/" + "9" * 5000), 404)


def test_other_addresses_methods_and_kinds_are_problems_too(office, booked):
    path = f"/api/v1/bookings/{booked.pk}"

    problem(office.get("nothing/here"), 404)
    problem(office.get("floors/"), 404)
    problem(office.client.delete(path), 405)
    problem(office.client.generic("PROPFIND", path), 405)
    problem(office.client.options(path), 405)
    problem(office.post(f"bookings/{booked.pk}/confirm", "version=1", kind="text/plain"), 415)
    form = "application/x-www-form-urlencoded"
    problem(office.post(f"bookings/{booked.pk}/confirm", "version=1", kind=form), 415)


def test_a_large_body_is_refused_as_such(house, office):
    reply = office.post("floors", '{"notes": "' + "x" * 300_000 + '"}')

    assert problem(reply, 413)["code"] == "too_large"


def test_text_comes_back_as_it_was_typed_without_controls(house, office):
    name = "O'Neil <b>\u202eevil\r\nBcc: x"

    taken = office.post("floors", order(house, customer_name=name)).json()

    assert taken["customer"]["name"] == "O'Neil <b>evil Bcc: x"
