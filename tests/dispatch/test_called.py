"""What fell against what was called: counted from a branch's own floors, hours and decisions."""

import json
from datetime import datetime, timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from dispatch.models import FinalCall, Stint, StoredVerdict
from dispatch.reads.called import OPEN, ROOFED, called
from dispatch.rules.called import Lead
from dispatch.rules.final_call import Decision
from jobs.models import Role
from tests import builders
from tests.dispatch.test_bookings import MORNING, House, ask
from weather.models import PastDay, layers_of

pytestmark = pytest.mark.django_db(transaction=True)

HOUR = timedelta(hours=1)
POUR, SAFE = MORNING + 3 * HOUR, MORNING + 10 * HOUR
EVENING = MORNING - 13.5 * HOUR  # 5:30 PM in Chicago, when the final call is due
LATER = MORNING + timedelta(days=2)


class Watched(House):
    """A branch whose floor of 2 June lies as asked, with the hours that a station saw."""

    def floor(self, exposure: str) -> Stint:
        job = builders.job(of=self.branch, exposure=exposure)
        stint: Stint = self.book(job, ask(self.north)).stints.get()
        Stint.objects.filter(pk=stint.pk).update(pour_at=POUR, wet_until=SAFE)
        stint.refresh_from_db()
        return stint

    def fell(self, *, rain: dict[datetime, float] | None = None, origin: str = "station",
             gust: dict[datetime, float] | None = None) -> None:  # fmt: skip
        """Two UTC days as they were kept: dry and calm but for the hours named."""
        for day in (MORNING.date(), MORNING.date() + timedelta(days=1)):
            hours = builders.hours(start=PastDay(day=day).start, count=24)
            for values, layer in ((rain, hours.rain_mm), (gust, hours.gust_kmh)):
                for at, value in (values or {}).items():
                    if at.date() == day:
                        layer[at.hour] = value
            PastDay.objects.create(
                place=self.branch.depot_place, day=day, layers=layers_of(hours),
                origins=[origin] * 24,
            )  # fmt: skip

    def counts(self) -> dict[tuple[str, str], tuple[int, int, int, int, int]]:
        found = called(self.branch, now=LATER)
        return {
            (row.exposure, row.lead): (
                row.hits, row.misses, row.false_alarms, row.right, row.unknown,
            )
            for row in found.tallies
        }  # fmt: skip


@pytest.fixture
def house(transactional_db) -> Watched:
    return Watched()


def said(stint: Stint, level: str, *, at: datetime, pct: float = 20.0, pour=POUR) -> StoredVerdict:
    stint.verdicts.update(latest=False)
    rain = {"name": "rain", "level": level, "value": pct, "unit": "%", "sentence": "Rain."}
    verdict: StoredVerdict = StoredVerdict.objects.create(
        stint=stint, made_at=at, level=level, headline="Rain.", checks=[rain],
        wet_from=pour, wet_until=pour + (SAFE - POUR), latest=True,
    )  # fmt: skip
    return verdict


def decided(stint: Stint, decision: Decision, verdict: StoredVerdict | None) -> None:
    FinalCall.objects.create(
        branch=stint.booking.branch, stint=stint, day=MORNING.date(), decision=decision.value,
        verdict=verdict, by_name="Ada", at=EVENING,
    )  # fmt: skip


def test_each_lead_counts_the_verdict_that_stood_then(house):
    stint = house.floor("open")
    said(stint, "no", at=MORNING - 80 * HOUR)  # three days before
    said(stint, "unknown", at=MORNING - 50 * HOUR)  # two days before
    evening = said(stint, "go", at=EVENING - HOUR)
    said(stint, "no", at=MORNING - HOUR)
    decided(stint, Decision.KEEP, evening)
    house.fell(rain={POUR + 2 * HOUR: 1.0})

    assert house.counts() == {
        (OPEN, "morning"): (1, 0, 0, 0, 0),
        (OPEN, "evening before"): (0, 1, 0, 0, 0),
        (OPEN, "two days before"): (0, 0, 0, 0, 1),
        (OPEN, "three days before"): (1, 0, 0, 0, 0),
        (OPEN, "final call"): (0, 1, 0, 0, 0),
    }


@pytest.mark.parametrize(
    ("rain", "counts"),
    [
        ({POUR - HOUR: 5.0}, (0, 0, 1, 0, 0)),  # before the wet window: it stayed dry
        ({SAFE: 5.0}, (0, 0, 1, 0, 0)),  # the window is half open
        ({SAFE - HOUR: 5.0}, (1, 0, 0, 0, 0)),
        ({POUR: 0.1}, (0, 0, 1, 0, 0)),  # below the branch's 0.2 mm in all
        ({POUR: 0.1, POUR + HOUR: 0.1}, (1, 0, 0, 0, 0)),
    ],
)
def test_only_rain_in_the_wet_window_spoils_the_day(house, rain, counts):
    said(house.floor("open"), "no", at=EVENING - HOUR)
    house.fell(rain=rain)

    assert house.counts()[OPEN, "evening before"] == counts


def test_a_gust_beyond_the_limit_spoils_it_too(house):
    said(house.floor("open"), "go", at=EVENING - HOUR)
    house.fell(gust={POUR + HOUR: 41.0})

    assert house.counts()[OPEN, "evening before"] == (0, 1, 0, 0, 0)


def test_hours_nobody_measured_are_unknown_and_never_dry(house):
    said(house.floor("open"), "go", at=EVENING - HOUR)
    house.fell(origin="nws")  # the first hours of a forecast, no station

    assert house.counts()[OPEN, "evening before"] == (0, 0, 0, 0, 1)


def test_a_porch_is_counted_apart_and_a_garage_not_at_all(house):
    said(house.floor("porch"), "go", at=EVENING - HOUR)
    house.fell()

    assert house.counts()[ROOFED, "evening before"] == (0, 0, 0, 1, 0)

    garage = house.book(house.second, ask(house.south)).stints.get()
    Stint.objects.filter(pk=garage.pk).update(pour_at=POUR, wet_until=SAFE)
    said(garage, "no", at=EVENING - HOUR)
    assert {key[0] for key in house.counts()} == {ROOFED}


def test_a_verdict_on_the_day_before_it_was_moved_is_no_verdict_on_this_day(house):
    stint = house.floor("open")
    said(stint, "no", at=EVENING - 2 * HOUR, pour=POUR - timedelta(days=1))
    house.fell()

    assert (OPEN, "evening before") not in house.counts()


def test_a_floor_the_final_call_moved_is_held_against_the_day_it_left(house):
    stint = house.floor("open")
    verdict = said(stint, "no", at=EVENING - HOUR, pct=60.0)
    decided(stint, Decision.MOVE, verdict)
    gone = timedelta(days=5)
    Stint.objects.filter(pk=stint.pk).update(start=MORNING + gone, end=MORNING + gone + 8 * HOUR)
    house.fell(rain={POUR: 2.0})

    assert house.counts() == {
        (OPEN, "evening before"): (1, 0, 0, 0, 0),
        (OPEN, "final call"): (1, 0, 0, 0, 0),
    }
    (band,) = [each for each in called(house.branch, now=LATER).bands if each.cases]
    assert (band.from_pct, band.cases, band.fell) == (50, 1, 1)


def test_meter_first_decides_nothing_about_the_weather(house):
    stint = house.floor("open")
    decided(stint, Decision.METER_FIRST, said(stint, "care", at=EVENING - HOUR))
    house.fell()

    assert house.counts()[OPEN, Lead.FINAL_CALL.value] == (0, 0, 0, 0, 1)


def test_the_suggestion_rests_on_the_branchs_own_costs_and_sets_nothing(house):
    house.branch.costs = {"a_move": 600.0, "a_ruined_coat": 3000.0}
    house.branch.thresholds = {"rain_no_pct": 40.0}
    house.branch.save()

    found = called(house.branch, now=LATER)

    assert found.suggestion.ratio_pct == pytest.approx(20)
    assert found.suggestion.now_pct == 40
    house.branch.refresh_from_db()
    assert house.branch.thresholds == {"rain_no_pct": 40.0}


def test_nothing_of_another_branch_is_counted(house):
    said(house.floor("open"), "go", at=EVENING - HOUR)
    house.fell()

    assert not called(builders.branch(), now=LATER).cases


def test_the_command_prints_the_same_counts_as_json(house, monkeypatch):
    said(house.floor("open"), "go", at=EVENING - HOUR, pct=20.0)
    house.fell(rain={POUR: 1.0})
    monkeypatch.setattr("django.utils.timezone.now", lambda: LATER)
    out, lines = StringIO(), StringIO()

    call_command("called", branch=house.branch.slug, json=True, stdout=out)
    call_command("called", branch=house.branch.slug, stdout=lines)

    told = json.loads(out.getvalue())
    rows = {(row["exposure"], row["lead"]): row["misses"] for row in told["tallies"]}
    assert rows == {(OPEN, "morning"): 1, (OPEN, "evening before"): 1}
    assert [(band["cases"], band["fell"], band["share"]) for band in told["bands"]][1] == (
        1,
        1,
        None,
    )
    assert told["suggestion"]["ratio_pct"] == pytest.approx(10)
    assert {case["spoiled"] for case in told["cases"]} == {True}
    assert "under the sky, evening before: 0 right alarms, 1 misses" in lines.getvalue()


def test_an_unknown_branch_is_refused_by_name(house):
    with pytest.raises(CommandError, match="no branch 'nowhere'"):
        call_command("called", branch="nowhere")


def test_the_page_shows_each_case_in_words(house, client, monkeypatch):
    said(house.floor("open"), "go", at=EVENING - HOUR)
    house.fell(rain={POUR: 1.0})
    monkeypatch.setattr("django.utils.timezone.now", lambda: LATER)
    client.force_login(builders.user(of=house.branch, role=Role.OFFICE))

    page = client.get("/called/").content.decode()

    assert "evening before: go or care; it fell" in page
    assert "Nothing is set by itself" in page
