"""The office's pages: what each shows, who may press what, and what a refusal looks like."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from dispatch.models import Booking
from dispatch.reads.offers import best_days
from jobs.models import Job, Role
from tests import builders

pytestmark = pytest.mark.django_db(transaction=True)


class Office:
    """A branch with weather around the real now, one crew, one grinder, one waiting garage."""

    def __init__(self) -> None:
        self.now = timezone.now()
        self.branch = builders.branch(weekdays=[0, 1, 2, 3, 4, 5, 6])
        builders.crew(of=self.branch, name="North")
        builders.machine(of=self.branch, name="Grinder 1")
        builders.forecast(
            at=self.branch.depot_place,
            start=self.now - timedelta(days=15),
            count=24 * 24,
            issued_at=self.now - timedelta(minutes=30),
        )
        self.job = self.new_job()
        self.user = builders.user(of=self.branch)

    def new_job(self) -> Job:
        row = builders.job(of=self.branch, created_at=self.now)
        return Job.objects.with_floors().get(pk=row.pk)

    def offer_key(self, job: Job | None = None) -> str:
        return best_days(job or self.job, now=timezone.now()).best[0].key

    def book(self, client, job: Job | None = None, **more):
        job = job or self.job
        data = {"version": job.version, "offer": self.offer_key(job), "key": f"k{job.pk}", **more}
        return client.post(reverse("book", args=[job.pk]), data)


@pytest.fixture
def office(transactional_db) -> Office:
    return Office()


@pytest.fixture
def desk(client, office):
    client.force_login(office.user)
    return client


def test_a_stranger_is_sent_to_sign_in(client, office):
    answer = client.get("/")

    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in/")


def test_the_week_shows_crews_weather_and_what_is_free(desk):
    page = desk.get("/").content.decode()

    assert "North" in page
    assert "Rain" in page
    assert "free" in page


def test_booking_from_the_best_days_shows_up_on_the_week(desk, office):
    answer = office.book(desk)

    booking = Booking.objects.get()
    assert answer["Location"] == reverse("booking", args=[booking.pk])
    page = desk.get(answer["Location"]).content.decode()
    assert "Ada Fields" in page
    assert "Drive on" in page
    start = booking.stints.get().start.astimezone(office.branch.tz).date()
    assert "Ada Fields" in desk.get(f"/?day={start}").content.decode()


def test_a_second_press_of_the_same_form_makes_no_second_booking(desk, office):
    key = office.offer_key()
    data = {"version": office.job.version, "offer": key, "key": "one"}

    desk.post(reverse("book", args=[office.job.pk]), data)
    again = desk.post(reverse("book", args=[office.job.pk]), data)

    assert again["Location"] == reverse("booking", args=[Booking.objects.get().pk])


def test_the_loser_of_a_race_is_told_and_sees_other_days(desk, office):
    other = office.new_job()
    key = office.offer_key(other)
    office.book(desk)

    answer = desk.post(
        reverse("book", args=[other.pk]), {"version": other.version, "offer": key, "key": "x"}
    )

    page = answer.content.decode()
    assert answer.status_code == 409
    assert "North is already booked" in page
    assert "no longer free" in page
    assert "Book and confirm" in page


def test_a_hold_is_shown_as_something_that_needs_a_person(desk, office):
    desk.post(
        reverse("book", args=[office.job.pk]),
        {"version": office.job.version, "hold": office.offer_key(), "key": "h"},
    )

    assert Booking.objects.get().state == "held"
    assert "Held for Ada Fields" in desk.get(reverse("needs")).content.decode()


def test_moving_and_calling_off_by_the_pages(desk, office):
    office.book(desk)
    booking = Booking.objects.get()
    page = desk.get(reverse("move", args=[booking.pk]))
    offers = page.context["offers"].best
    elsewhere = next(each for each in offers if each.plan.start != booking.stints.get().start)

    moved = desk.post(
        reverse("move", args=[booking.pk]),
        {"version": booking.version, "offer": elsewhere.key, "why": "They asked"},
    )
    booking.refresh_from_db()
    gone = desk.post(
        reverse("call-off", args=[booking.pk]),
        {"version": booking.version, "why": "Sold the house"},
    )

    assert moved.status_code == gone.status_code == 302
    booking.refresh_from_db()
    assert booking.state == "called_off"
    assert booking.moves == 1


def test_calling_off_without_a_reason_is_refused_in_a_sentence(desk, office):
    office.book(desk)
    booking = Booking.objects.get()

    answer = desk.post(reverse("call-off", args=[booking.pk]), {"version": booking.version})

    assert answer.status_code == 400
    assert "say why" in answer.content.decode()
    booking.refresh_from_db()
    assert booking.state == "booked"


def test_an_old_page_is_told_that_somebody_else_changed_it(desk, office):
    office.book(desk)
    booking = Booking.objects.get()

    answer = desk.post(
        reverse("call-off", args=[booking.pk]), {"version": booking.version - 1, "why": "x"}
    )

    assert answer.status_code == 409
    assert "changed by somebody else" in answer.content.decode()


@pytest.mark.parametrize("name", ["booking", "move"])
def test_another_branch_sees_no_booking_of_this_one(client, desk, office, name):
    office.book(desk)
    booking = Booking.objects.get()
    stranger = Office()
    client.force_login(stranger.user)

    assert client.get(reverse(name, args=[booking.pk])).status_code == 404
    acts = [
        client.post(reverse(act, args=[booking.pk]), {"version": booking.version, "why": "x"})
        for act in ("move", "confirm", "call-off")
    ]

    assert [answer.status_code for answer in acts] == [404, 404, 404]
    booking.refresh_from_db()
    assert booking.state == "booked"


def test_another_branch_cannot_book_this_branchs_floor(client, office):
    stranger = Office()
    client.force_login(stranger.user)

    assert client.get(reverse("offers", args=[office.job.pk])).status_code == 404
    assert office.book(client).status_code == 404
    assert not Booking.objects.exists()


@pytest.mark.parametrize("role", [Role.LEAD, Role.INSTALLER, Role.READER])
def test_other_roles_look_but_do_not_book(client, office, role):
    client.force_login(builders.user(of=office.branch, role=role))

    assert client.get("/").status_code == 200
    assert office.book(client).status_code == 403
    assert not Booking.objects.exists()


def test_looking_never_acts(desk, office):
    office.book(desk)
    booking = Booking.objects.get()

    for name in ("confirm", "call-off"):
        assert desk.get(reverse(name, args=[booking.pk])).status_code == 405
    assert desk.get(reverse("book", args=[office.job.pk])).status_code == 405
    booking.refresh_from_db()
    assert booking.version == 1


def test_the_week_takes_a_fixed_number_of_queries(desk, office, django_assert_max_num_queries):
    office.book(desk)
    with django_assert_max_num_queries(64) as few:
        desk.get("/")
    for _ in range(3):
        office.book(desk, office.new_job())
    with django_assert_max_num_queries(64) as many:
        desk.get("/")

    assert len(many) <= len(few) + 2
