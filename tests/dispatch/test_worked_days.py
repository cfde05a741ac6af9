"""`floor_day` on a plain test card: days that were worked through on paper, hour by hour.

The card, its labour and the days are common practice, made up; what each day comes to was
worked out by hand. A minute is what rounding on paper allows.
"""

import json
from datetime import datetime, timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from tests import practice_cards
from tests.dispatch.rules.days import desert, evening_showers, spring_thaw, wet_patio
from tests.dispatch.rules.skies import Row, sky
from tests.jobs.rules.floors import EPOXY_BASE, FAST, clock
from weather.rules.hours import HOUR

MINUTE = timedelta(minutes=1)

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def day(tmp_path):
    """Ask about a floor on a sky; what the command prints as JSON, with its times read."""

    def ask(sky_and_slab, *, card=FAST, **asked):
        out = StringIO()
        call_command(
            "floor_day",
            json=True,
            stdout=out,
            card=practice_cards.card_file(tmp_path, card),
            hours=practice_cards.hours_file(tmp_path, *sky_and_slab),
            **asked,
        )
        return json.loads(out.getvalue(), object_hook=_with_times)

    return ask


def _with_times(told):
    return {
        name: datetime.fromisoformat(value)
        if value and (name.endswith("_at") or name in {"start", "end", "last_safe_pour"})
        else value
        for name, value in told.items()
    }


def same(instant, zone, text):
    return abs(instant - clock(zone, text)) <= MINUTE


def length_h(told):
    return sum((visit["end"] - visit["start"]) / HOUR for visit in told["visits"])


class TestAPatioBeforeEveningShowers:
    ZONE = "America/New_York"

    @pytest.fixture
    def told(self, day):
        return day(
            evening_showers(),
            area="380",
            exposure="open",
            postal_code="43215",
            now="2026-06-17 17:30",
            start="2026-06-18 07:00",
            dry_since="2026-06-12 09:00",
        )

    def test_pour_top_and_rain_safe(self, told):
        assert same(told["pour_at"], self.ZONE, "2026-06-18 10:05")
        assert same(told["top_end_at"], self.ZONE, "2026-06-18 13:22")
        assert same(told["visits"][0]["end"], self.ZONE, "2026-06-18 13:52")
        assert same(told["rain_safe_at"], self.ZONE, "2026-06-18 17:22")

    def test_the_last_safe_pour_and_the_slack(self, told):
        assert same(told["last_safe_pour"], self.ZONE, "2026-06-18 10:43")
        assert told["slack_min"] == pytest.approx(38, abs=1)
        assert told["verdict"]["level"] != "no"

    def test_walk_on_is_promised_to_the_quarter_hour(self, told):
        # Exactly 9:22 PM; promises round up.
        assert told["walk_on_at"] == clock(self.ZONE, "2026-06-18 21:30")


def test_a_patio_three_days_after_the_rain(day):
    zone = "America/New_York"
    told = day(
        wet_patio(),
        area="300",
        exposure="open",
        postal_code="27601",
        now="2026-04-14 16:00",
        start="2026-04-16 07:00",
        dry_since="2026-04-14 15:00",
    )

    assert same(told["pour_at"], zone, "2026-04-16 09:39")
    assert same(told["rain_safe_at"], zone, "2026-04-16 18:57")
    assert same(told["last_safe_pour"], zone, "2026-04-16 10:42")


def test_a_patio_that_dried_late_is_tacky_until_after_midnight(day):
    zone = "America/New_York"
    told = day(
        wet_patio(),
        area="300",
        exposure="open",
        postal_code="27601",
        now="2026-04-14 16:00",
        start="2026-04-15 12:21",
        leave_by="19:00",
        dry_since="2026-04-14 15:00",
    )

    assert same(told["pour_at"], zone, "2026-04-15 15:00")
    assert same(told["visits"][0]["end"], zone, "2026-04-15 18:48")
    assert told["tack_free_at"] > clock(zone, "2026-04-16 00:00")


def test_a_cold_garage_is_topped_at_half_past_four(day):
    zone = "America/Chicago"
    told = day(
        spring_thaw(),
        area="440",
        exposure="garage",
        postal_code="64105",
        now="2026-03-10 17:00",
        start="2026-03-13 07:30",
    )

    assert same(told["pour_at"], zone, "2026-03-13 10:55")
    assert same(told["top_end_at"], zone, "2026-03-13 16:34")


def test_a_small_porch_takes_six_hours_with_the_wait_in_it(day):
    zone = "America/Chicago"
    porch = {
        "2026-05-22 06:00": Row(21, 60, 13, 5, 0, 10, 22),
        "2026-05-22 12:00": Row(26, 55, 13, 10, 0, 12, 22),
        "2026-05-22 16:00": Row(27, 55, 13, 35, 0, 18, 22),
    }
    told = day(
        sky(zone, porch, issued="2026-05-18 06:00"),
        area="90",
        steps="2",
        exposure="porch",
        postal_code="37203",
        now="2026-05-18 10:00",
        start="2026-05-22 12:15",
        leave_by="19:00",
    )

    assert length_h(told) == pytest.approx(6.0, abs=0.02)
    assert same(told["pour_at"], zone, "2026-05-22 14:45")
    assert same(told["top_end_at"], zone, "2026-05-22 17:45")
    assert same(told["walk_on_at"], zone, "2026-05-23 05:45")
    (idle,) = told["idle"]
    assert (idle["end"] - idle["start"]) / HOUR == pytest.approx(1.5)


class TestAShopOfThreeThousandSquareFeet:
    ZONE = "America/Boise"

    def told(self, day, **more):
        rows = {"2026-09-14 06:00": Row(18, 45, 6, 0, 0, 8, 17)}
        return day(
            sky(self.ZONE, rows, issued="2026-09-14 04:00", until="2026-09-21 06:00"),
            area="3000",
            exposure="interior",
            postal_code="83702",
            now="2026-09-14 10:00",
            start="2026-09-15 07:00",
            leave_by="18:00",
            **more,
        )

    def test_four_people_need_twenty_and_three_quarter_hours_in_sequence(self, day):
        assert length_h(self.told(day, crew="4")) == pytest.approx(20.75, abs=0.02)

    def test_one_crew_needs_thirty_eight_hours(self, day):
        assert length_h(self.told(day)) == pytest.approx(38.0, abs=0.02)

    def test_bay_by_bay_the_second_day_fits_and_drive_on_is_friday(self, day):
        told = self.told(day, crew="4", bays="4", second_start="2026-09-16 07:00")

        first, second = ((v["end"] - v["start"]) / HOUR for v in told["visits"])
        assert first == pytest.approx(9.75, abs=0.02)  # 9.25 h of preparing, and packing
        assert second <= 11
        assert told["drive_on_at"] >= clock(self.ZONE, "2026-09-18 16:00")

    def test_one_large_grinder_makes_the_first_day_too_long(self, day):
        more = {"crew": "4", "bays": "4", "second_start": "2026-09-16 08:00"}
        told = self.told(day, **more, grinders="1")

        first = told["visits"][0]
        assert (first["end"] - first["start"]) / HOUR > 11


class TestAGarageInTheDesert:
    ZONE = "America/Phoenix"

    def told(self, day, start, **more):
        return day(
            desert(),
            area="460",
            exposure="garage",
            postal_code="85004",
            now="2026-07-13 16:00",
            start=start,
            **more,
        )

    def test_four_people_at_dawn(self, day):
        told = self.told(day, "2026-07-14 05:00", crew="4")

        grinding = next(s for s in told["visits"][0]["stages"] if s["kind"] == "grind")
        assert grinding["start"] == clock(self.ZONE, "2026-07-14 06:00")
        assert same(grinding["end"], self.ZONE, "2026-07-14 07:16")
        assert same(told["pour_at"], self.ZONE, "2026-07-14 07:16")
        assert same(told["top_end_at"], self.ZONE, "2026-07-14 09:39")
        # A day after the top at the earliest, rounded up.
        assert same(told["drive_on_at"], self.ZONE, "2026-07-15 09:45")

    def test_the_usual_start_pours_above_the_limit(self, day):
        told = self.told(day, "2026-07-14 07:30")

        assert same(told["pour_at"], self.ZONE, "2026-07-14 11:02")
        assert told["verdict"]["level"] == "no"

    def test_two_mornings(self, day):
        told = self.told(day, "2026-07-14 05:00", second_start="2026-07-15 05:30", split="base")

        assert same(told["pour_at"], self.ZONE, "2026-07-14 08:32")
        assert told["top_end_at"] < clock(self.ZONE, "2026-07-15 08:30")


class TestAColdNightAfterTheTop:
    ZONE = "America/Los_Angeles"
    AIR = {
        "2026-10-15 07:00": 15,
        "2026-10-15 15:00": 13,
        "2026-10-15 21:00": 6,
        "2026-10-16 06:00": 2,
        "2026-10-16 15:00": 11,
        "2026-10-17 06:00": 1,
    }

    def told(self, day, **more):
        rows = {at: Row(air, 60, air - 8, 0, 0, 5, 15) for at, air in self.AIR.items()}
        return day(
            sky(self.ZONE, rows, issued="2026-10-15 04:00"),
            area="430",
            exposure="garage",
            postal_code="99201",
            now="2026-10-15 06:00",
            start="2026-10-15 07:00",
            **more,
        )

    def test_drive_on_is_sunday_afternoon(self, day):
        told = self.told(day)

        assert same(told["top_end_at"], self.ZONE, "2026-10-15 14:57")
        # Exactly 2:57 PM; the air of the night counts, for nobody has read the slab since.
        assert told["drive_on_at"] == clock(self.ZONE, "2026-10-18 15:00")

    def test_a_room_that_is_kept_warm_makes_it_saturday(self, day):
        told = self.told(
            day, heat_kw="8", heat_from="2026-10-15 14:00", heat_until="2026-10-17 15:00"
        )

        assert told["drive_on_at"] == clock(self.ZONE, "2026-10-17 15:00")


def test_a_two_day_floor_has_its_recoat_window_on_the_clock(day):
    zone = "America/New_York"
    rows = {"2026-05-03 06:00": Row(24, 60, 16, 5, 0, 8, 24)}
    told = day(
        sky(zone, rows, issued="2026-05-03 04:00", until="2026-05-10 06:00"),
        card=EPOXY_BASE,
        area="600",
        exposure="pool_deck",
        postal_code="32801",
        now="2026-05-03 18:00",
        start="2026-05-04 07:30",
    )

    bases = [s for s in told["visits"][0]["stages"] if s["kind"] == "base"]
    assert same(bases[0]["end"], zone, "2026-05-04 13:00")
    assert told["visits"][1]["start"] == clock(zone, "2026-05-05 07:30")


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        ("at,air_c\nnoon,20\n", "no hour"),
        ("at,air_c\n2026-06-18 07:30,20\n", "no whole hour"),
        ("at,air_c\n2026-06-18 07:00,hot\n", "not a number"),
        ("at,air_c\n2026-06-18 07:00,200\n", "not to be believed"),
        ("at,wine\n2026-06-18 07:00,20\n", "no column"),
        ("at,air_c\n", "0 rows"),
        ("at,air_c\n2026-06-18 07:00,20\n2026-06-18 07:00,21\n", "two rows"),
    ],
)
def test_hours_that_cannot_be_used_are_refused(tmp_path, rows, sentence):
    path = tmp_path / "hours.csv"
    path.write_text(rows, encoding="utf-8")

    with pytest.raises(CommandError, match=sentence):
        call_command(
            "floor_day",
            area="380",
            exposure="open",
            postal_code="43215",
            card=practice_cards.card_file(tmp_path, FAST),
            hours=str(path),
            now="2026-06-17 17:30",
            start="2026-06-18 07:00",
        )


def test_what_is_not_handed_in_is_unknown_and_never_go(tmp_path):
    path, out = tmp_path / "hours.csv", StringIO()
    path.write_text("at,air_c,humidity_pct\n2026-06-17 07:00,20,55\n", encoding="utf-8")

    call_command(
        "floor_day",
        json=True,
        stdout=out,
        area="380",
        exposure="garage",
        postal_code="43215",
        card=practice_cards.card_file(tmp_path, FAST),
        hours=str(path),
        now="2026-06-17 17:30",
        start="2026-06-18 07:00",
    )

    told = json.loads(out.getvalue())
    # A dew point follows from air and humidity; rain and wind do not.
    assert told["hours"][0]["dew_c"] == pytest.approx(10.7, abs=0.1)
    assert told["hours"][0]["rain_mm"] is None
    assert told["slab"]["weak"]
    assert told["verdict"]["level"] != "go"


def test_a_card_without_a_needed_number_is_refused(tmp_path):
    path = tmp_path / "card.json"
    path.write_text('{"name": "half a card"}', encoding="utf-8")

    with pytest.raises(CommandError, match="missing"):
        call_command("floor_day", area="380", exposure="open", postal_code="43215", card=str(path))
