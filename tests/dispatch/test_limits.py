"""Limits and costs of a branch on their page: the default stands beside, the owner changes them."""

from dataclasses import fields

import pytest
from django.urls import reverse

from dispatch.reads.chain import thresholds_of
from dispatch.rules.costs import Costs
from dispatch.rules.limit_boxes import BOXES, RANGES, RISING, THRESHOLDS, Kind
from dispatch.rules.thresholds import Thresholds
from jobs.models import AuditEvent, Role
from tests import builders

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def branch(transactional_db):
    return builders.branch(
        units="metric",
        thresholds={"gust_no_kmh": 38.77, "rain_no_pct": 25.0},
        costs={"rush_order": 31.0},
    )


@pytest.fixture
def owner(branch, client):
    client.force_login(builders.user(of=branch, username="owner", role=Role.OWNER))
    return client


def keep(client, **typed):
    """What a browser would send back for the page, with some boxes typed over."""
    page = client.get(reverse("limits"))
    form = page.context["form"]
    shown = {name: form[name].value() or "" for name in form.fields}
    return client.post(reverse("limits-change"), {**shown, "was": page.context["was"], **typed})


def test_every_threshold_has_a_box_and_every_box_is_a_field_with_its_default_in_range():
    known = {each.name for each in (*fields(Thresholds), *fields(Costs))}

    assert THRESHOLDS <= BOXES.keys() <= known
    for box in BOXES.values():
        default = getattr(Thresholds() if box.name in THRESHOLDS else Costs(), box.name)
        assert RANGES[box.kind].low <= default <= RANGES[box.kind].high, box.name
    for lower, upper in RISING:
        assert BOXES[lower].kind is BOXES[upper].kind


def test_the_page_shows_the_default_beside_the_own_value_and_the_cards(owner, branch):
    builders.system(of=branch, name="Quartz floor")

    page = owner.get(reverse("limits")).content.decode()

    assert "default: 30 %" in page
    assert 'value="25"' in page
    assert "Quartz floor" in page
    assert "at least" in page


def test_a_new_limit_is_kept_audited_and_judged_by(owner, branch):
    version = branch.calendar_version

    assert keep(owner, rain_no_pct="20", a_ruined_coat="4200").status_code == 302

    branch.refresh_from_db()
    assert thresholds_of(branch).rain_no_pct == 20
    assert branch.costs == {"rush_order": 31.0, "a_ruined_coat": 4200.0}
    assert branch.calendar_version > version
    note = AuditEvent.objects.get(action="set limits")
    assert note.before == {"a_ruined_coat": None, "rain_no_pct": 25.0}
    assert note.after == {"a_ruined_coat": 4200.0, "rain_no_pct": 20.0}


def test_keeping_the_page_untouched_changes_nothing_by_rounding(owner, branch):
    branch.units = "us"
    branch.save(update_fields=["units"])

    assert keep(owner).status_code == 302

    branch.refresh_from_db()
    assert branch.thresholds == {"gust_no_kmh": 38.77, "rain_no_pct": 25.0}
    assert not AuditEvent.objects.filter(action="set limits").exists()


def test_an_office_in_the_united_states_types_miles_and_inches(owner, branch):
    branch.units = "us"
    branch.save(update_fields=["units"])

    keep(owner, gust_no_kmh="20", rain_hour_no_mm="0.02")

    branch.refresh_from_db()
    # A mile is 1.609344 km, an inch 25.4 mm (NIST SP 811).
    assert branch.thresholds["gust_no_kmh"] == pytest.approx(32.18688)
    assert branch.thresholds["rain_hour_no_mm"] == pytest.approx(0.508)


def test_an_empty_box_goes_back_to_the_default(owner, branch):
    keep(owner, rain_no_pct="")

    branch.refresh_from_db()
    assert "rain_no_pct" not in branch.thresholds
    assert thresholds_of(branch).rain_no_pct == Thresholds().rain_no_pct


@pytest.mark.parametrize(
    ("box", "text", "said"),
    [
        ("rain_no_pct", "much", "is not a number"),
        ("rain_no_pct", "0", "outside 1 to 100 %"),
        ("rain_no_pct", "12", "the first may not be the larger"),
        ("gust_no_kmh", "400", "outside 5 to 120 km/h"),
        ("watch_forecasts", "2.5", "not a whole number"),
        ("age_care_h", "30", "the first may not be the larger"),
        ("a_move", "-5", "outside 0"),
        ("a_move", "nan", "is not a number"),
    ],
)
def test_what_cannot_be_is_said_at_its_box_and_nothing_is_kept_or_lost(
    owner, branch, box, text, said
):
    answer = keep(owner, **{box: text, "canopy": "77"})

    assert answer.status_code == 422
    form = answer.context["form"]
    assert any(said in sentence for sentence in form.errors[box])
    assert form["canopy"].value() == "77"
    branch.refresh_from_db()
    assert branch.thresholds == {"gust_no_kmh": 38.77, "rain_no_pct": 25.0}


def test_of_two_owners_the_second_is_told(owner, branch):
    page = owner.get(reverse("limits"))
    keep(owner, rain_no_pct="22")

    late = owner.post(reverse("limits-change"), {"was": page.context["was"], "rain_no_pct": "50"})

    assert late.status_code == 409
    assert "Somebody has changed the limits" in late.content.decode()
    branch.refresh_from_db()
    assert branch.thresholds["rain_no_pct"] == 22


def test_others_read_the_limits_and_change_none(client, branch):
    client.force_login(builders.user(of=branch, username="desk", role=Role.OFFICE))

    page = client.get(reverse("limits"))

    assert page.status_code == 200
    assert b"Only the owner changes these." in page.content
    assert keep(client, rain_no_pct="50").status_code == 403


def test_whole_numbers_stay_whole(owner, branch):
    keep(owner, rain_slack_min="45")

    branch.refresh_from_db()
    assert branch.thresholds["rain_slack_min"] == 45
    assert isinstance(branch.thresholds["rain_slack_min"], int)
    assert BOXES["rain_slack_min"].kind is Kind.MINUTES
