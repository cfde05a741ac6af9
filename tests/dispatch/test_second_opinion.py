"""A second service that says otherwise is shown beside the verdict, where work is near."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from dispatch.reads.offers import best_days
from dispatch.rules.second_opinion import second_sentence
from dispatch.rules.words import Words
from jobs.models import Branch
from tests import builders
from tests.builders import NOW
from tests.dispatch.test_offers import house, job, weather  # noqa: F401  fixtures
from tests.dispatch.test_office_pages import Office, desk, office  # noqa: F401  fixtures
from weather.reads import latest_forecast
from weather.rules.differences import Apart, Differences

pytestmark = pytest.mark.django_db(transaction=True)


def second(place, *, now=NOW, issued=timedelta(hours=2), **layers):
    """MET Norway's opinion, asked for comparison only."""
    row = builders.forecast(
        at=place,
        start=now,
        count=24 * 9,
        issued_at=now - issued,
        source="metno",
        **layers,
    )
    row.second = True
    row.save()
    return row


def told(offers):
    return {offer.day: offer.second for offer in (*offers.best, *offers.others)}


def test_rain_that_only_the_second_service_sees_is_told_for_open_floors(house):  # noqa: F811
    weather(house.depot_place, cloud_pct=95.0)
    second(house.depot_place, rain_chance_pct=60)

    patio = best_days(job(house, exposure="open"), now=NOW, every=True)
    garage = best_days(job(house), now=NOW, every=True)

    near = [words for day, words in told(patio).items() if day <= NOW.date() + timedelta(days=3)]
    assert near
    assert all("MET Norway says otherwise: rain 60 %" in words for words in near)
    assert all("rests on 0 %" in words for words in near)
    assert set(told(garage).values()) == {""}


def test_the_second_opinion_does_not_become_the_forecast(house):  # noqa: F811
    weather(house.depot_place, cloud_pct=95.0)
    second(house.depot_place, rain_chance_pct=60, issued=timedelta(minutes=1))

    found = best_days(job(house, exposure="open"), now=NOW, every=True)

    assert latest_forecast(house.depot_place, now=NOW).source == "nws"
    assert found.setting.hours.source == "nws"


def test_warmer_air_is_told_for_every_floor_in_the_branchs_units(house):  # noqa: F811
    weather(house.depot_place)
    second(house.depot_place, air_c=25.0)

    found = best_days(job(house), now=NOW, every=True)

    assert "77 °F where the verdict rests on 68 °F" in found.best[0].second


def test_less_than_the_set_amount_and_days_far_off_are_not_told(house):  # noqa: F811
    weather(house.depot_place)
    second(house.depot_place, air_c=22.9, rain_chance_pct=29)

    found = best_days(job(house), now=NOW, every=True)

    assert set(told(found).values()) == {""}


def test_the_amount_is_the_branchs_to_set(house):  # noqa: F811
    Branch.objects.filter(pk=house.pk).update(thresholds={"second_air_c": 1.0})
    house.refresh_from_db()
    weather(house.depot_place)
    second(house.depot_place, air_c=21.5)

    assert "MET Norway says otherwise" in best_days(job(house), now=NOW, every=True).best[0].second


def test_an_old_second_opinion_is_not_held_against_a_new_forecast(house):  # noqa: F811
    weather(house.depot_place)
    second(house.depot_place, air_c=30.0, issued=timedelta(hours=13))

    assert set(told(best_days(job(house), now=NOW, every=True)).values()) == {""}


@pytest.mark.parametrize(
    ("exposure", "ground_c", "told"),
    [("open", 5.0, True), ("garage", 5.0, False), ("open", None, False)],
)
def test_bare_ground_far_from_the_slab_asks_for_a_reading(house, exposure, ground_c, told):  # noqa: F811
    weather(house.depot_place, cloud_pct=95.0)
    row = second(house.depot_place)
    row.layers["soil_c"] = [ground_c] * row.count
    row.source = "open_meteo"
    row.save()

    found = best_days(job(house, exposure=exposure), now=NOW, every=True)

    near = [o for o in (*found.best, *found.others) if o.day <= NOW.date() + timedelta(days=3)]
    said = {"Open-Meteo has bare ground at 41 °F" in offer.second for offer in near}
    assert said == {told}
    assert all("a reading on site decides" in o.second for o in near) is told


def test_offers_and_booking_show_it(desk, office):  # noqa: F811
    second(office.branch.depot_place, now=timezone.now(), air_c=26.0)

    page = desk.get(reverse("offers", args=[office.job.pk])).content.decode()
    answer = office.book(desk)

    assert "MET Norway says otherwise" in page
    assert "MET Norway says otherwise" in desk.get(answer["Location"]).content.decode()


def test_nothing_is_said_where_nothing_differs():
    words = Words(zone=timezone.get_current_timezone(), units="metric", day=NOW.date())
    rain = Differences(chance_pct=Apart(10, 60, NOW), air_c=None)

    assert second_sentence(rain, title="X", words=words, open_floor=False) == ""
    assert second_sentence(rain, title="X", words=words, open_floor=True).startswith("X says")
