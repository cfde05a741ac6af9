"""Sessions, cookies and headers: what a browser is told, and what an old cookie still opens.

Expectations: OWASP Application Security Verification Standard 5.0, chapters 3, 6 and 7.
"""

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from jobs.models import Membership
from tests import builders
from tests.attacks.test_roles import rows
from tests.attacks.world import Firm
from tests.builders import PASSWORD

pytestmark = pytest.mark.django_db(transaction=True)
NEW = "a warm slab in May"
# Each leads out of the site in some browser, or is no address of ours.
WAYS_OUT = [
    "//evil.example",
    "https:///evil.example",
    "/\\evil.example",
    "\\\\evil.example",
    "javascript:alert(1)",
    "\x00/week",
    "https://evil.example/",
    "http:evil.example",
    " //evil.example",
]
NOT_HERE = [
    "/admin/",
    "/debug",
    "/.env",
    "/.git/config",
    "/static/../settings.py",
    "/static/%2e%2e/settings.py",
    "/__debug__/",
    "/server-status",
]


@pytest.fixture
def firm(transactional_db):
    return Firm("Alpha")


def entered(firm, role="office"):
    client = Client()
    client.post("/sign-in/", {"username": f"Alpha-{role}", "password": PASSWORD})
    assert client.get("/").status_code == 200
    return client


def test_a_session_is_another_one_after_signing_in(firm):
    client = Client()
    client.cookies[settings.SESSION_COOKIE_NAME] = "x" * 32

    client.post("/sign-in/", {"username": "Alpha-office", "password": PASSWORD})

    assert client.cookies[settings.SESSION_COOKIE_NAME].value != "x" * 32
    assert client.get("/").status_code == 200


def test_an_old_cookie_opens_nothing_after_signing_out(firm):
    client = entered(firm)
    old = client.cookies[settings.SESSION_COOKIE_NAME].value

    client.post("/sign-out/")

    again = Client()
    again.cookies[settings.SESSION_COOKIE_NAME] = old
    assert again.get("/").status_code == 302


def test_a_changed_passphrase_ends_every_other_session(firm):
    one, two = entered(firm), entered(firm)

    one.post(
        reverse("passphrase"),
        {"old_password": PASSWORD, "new_password1": NEW, "new_password2": NEW},
    )

    assert one.get("/").status_code == 200
    assert two.get("/").status_code == 302


def test_a_role_that_is_gone_counts_on_the_very_next_write(firm):
    client = entered(firm)
    Membership.objects.filter(user=firm.people["office"]).update(role="reader")
    before = rows()

    answer = client.post(
        reverse("call-off", args=[firm.booking.pk]), {"version": "1", "why": "Rain"}
    )

    assert answer.status_code == 403
    assert rows() == before


def test_somebody_who_may_not_sign_in_any_more_is_out_with_an_open_session(firm):
    client = entered(firm)
    user = firm.people["office"]
    user.is_active = False
    user.save()

    assert client.get("/").status_code == 302


@pytest.mark.parametrize("where", WAYS_OUT)
def test_signing_in_leads_nowhere_else(firm, where):
    answer = Client().post(
        "/sign-in/", {"username": "Alpha-office", "password": PASSWORD, "next": where}
    )

    assert answer.status_code == 302
    assert answer["Location"] == "/"


@pytest.mark.parametrize("path", NOT_HERE)
def test_back_doors_are_not_there(firm, path):
    for client in (Client(), entered(firm)):
        assert client.get(path).status_code == 404


def test_another_host_is_refused(firm):
    assert Client().get("/sign-in/", headers={"Host": "evil.example"}).status_code == 400
    shown = Client().get("/sign-in/", headers={"X-Forwarded-Host": "evil.example"})
    assert "evil.example" not in shown.text


def test_a_forged_proto_is_not_believed_without_a_proxy(firm):
    shown = Client().get("/sign-in/", headers={"X-Forwarded-Proto": "https"})

    assert not shown.wsgi_request.is_secure()


def test_writes_need_the_token_of_the_form_and_our_own_origin(firm):
    client = Client(enforce_csrf_checks=True)
    client.force_login(firm.people["office"])
    path = reverse("confirm", args=[firm.booking.pk])
    before = rows()

    assert client.post(path, {"version": "1"}).status_code == 403
    client.get("/")
    token = client.cookies[settings.CSRF_COOKIE_NAME].value if client.cookies else ""
    foreign = client.post(
        path,
        {"version": "1", "csrfmiddlewaretoken": token},
        headers={"Origin": "https://evil.example"},
    )
    assert foreign.status_code == 403
    assert rows() == before


@pytest.mark.parametrize("name", ["confirm", "call-off", "undo", "swap", "hand-over"])
def test_looking_at_an_address_that_acts_does_nothing(firm, name):
    before = rows()

    assert entered(firm).get(reverse(name, args=[firm.booking.pk])).status_code == 405
    assert {**rows(), "django_session": 0} == {**before, "django_session": 0}


def test_signing_out_is_a_post(firm):
    client = entered(firm)

    assert client.get("/sign-out/").status_code == 405
    assert client.get("/").status_code == 200


def test_the_headers_of_a_page(firm):
    answer = entered(firm).get("/")

    policy = answer["Content-Security-Policy"]
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["Cross-Origin-Opener-Policy"] == "same-origin"
    assert answer["Referrer-Policy"] == "same-origin"


def test_a_search_finds_nothing_of_another_branch(firm):
    Firm("Beta")
    client = entered(firm)

    for path in ("/floors/?q=Beta", "/?q=Beta", "/needs/?q=Beta", "/mail/?q=Beta"):
        assert "Beta Fields" not in client.get(path).text


@pytest.mark.parametrize(
    "text", ["' OR 1=1--", '"; DROP TABLE jobs_job;--', "%_%", "\\", "{{7*7}}"]
)
def test_what_is_searched_for_is_a_text(firm, text):
    answer = entered(firm).get("/floors/", {"q": text})

    assert answer.status_code == 200
    assert "Oak Street" not in answer.text


def test_known_and_unknown_names_hear_the_same(firm):
    def said(name):
        answer = Client().post("/sign-in/", {"username": name, "password": "wrong"})
        return answer.status_code, answer.text.replace(name, "NAME").split("<main")[1]

    def without_token(answer):
        status, text = answer
        head, _, rest = text.partition('name="csrfmiddlewaretoken" value="')
        return status, head + rest.partition('"')[2]

    assert without_token(said("Alpha-office")) == without_token(said("nobody-at-all"))


def test_other_addresses_do_not_give_more_tries(firm):
    """Another X-Forwarded-For each time is another word of the visitor, not another visitor."""
    answers = [
        Client()
        .post(
            "/sign-in/",
            {"username": "Alpha-office", "password": "wrong"},
            headers={"X-Forwarded-For": f"203.0.113.{number}"},
        )
        .status_code
        for number in range(7)
    ]

    assert answers == [200] * 5 + [429] * 2


def test_a_text_of_people_is_shown_as_text(firm):
    nasty = '<script>alert(1)</script>"><img src=x onerror=alert(2)>{{7*7}}${7*7}'
    customer = firm.booking.job.customer
    customer.name = nasty
    customer.save()
    job = builders.job(of=firm.branch, notes=nasty)
    client = entered(firm)

    for path in (
        "/",
        f"/?day={firm.branch.today(firm.now)}",
        "/needs/",
        "/floors/",
        "/final-call/",
        f"/bookings/{firm.booking.pk}/",
        f"/stints/{firm.booking.stints.get().pk}/sheet/",
        f"/customers/{customer.pk}/",
        f"/floors/{job.pk}/days/",
        f"/c/{firm.token}/",
    ):
        text = client.get(path).text
        assert "<script>alert" not in text, path
        assert "<img src=x" not in text, path
