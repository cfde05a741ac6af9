"""The pictures say what they are given, no more, and say it in a way everyone can take in."""

import re
import timeit
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest

from dispatch.rules.pictures import (
    CrewRow,
    DayColumn,
    DayPicture,
    OffSpan,
    StageBar,
    StintBar,
    WeekPicture,
    by_day,
    day_summary,
    day_svg,
    mark,
    week_svg,
)
from dispatch.rules.pictures.axis import week_axis
from dispatch.rules.pictures.svg import clock, fitted, wrapped

SVG = "{http://www.w3.org/2000/svg}"
STAGES = (
    StageBar("grind", 7, 10),
    StageBar("base", 10, 11),
    StageBar("set", 11, 13, wait=True),
    StageBar("top", 13, 14),
)
STINT = StintBar(
    href="/stints/1/",
    title="Patio 300",
    start_h=7,
    end_h=14,
    stages=STAGES,
    level="care",
    level_word="Care",
    firm="planned",
    wet_from_h=10,
    wet_until_h=17,
    last_safe_pour_h=10.9,
    last_safe_pour_label="10:54",
    drive_on_h=32,
    drive_on_label="Tue 08:00",
)


def days(count: int = 5) -> tuple[DayColumn, ...]:
    return tuple(
        DayColumn(
            label=f"Day {index}",
            start_h=24.0 * index,
            end_h=24.0 * index + 24,
            rain_chance_pct=(10.0,) * 24,
            margin_c=(6.0,) * 24,
        )
        for index in range(count)
    )


def week(*stints: StintBar, **changes: object) -> WeekPicture:
    plain = WeekPicture(title="Week of 8 June", days=days(), rows=(CrewRow("Ash", stints=stints),))
    return replace(plain, **changes)


def day(**changes: object) -> DayPicture:
    plain = DayPicture(
        title="Patio 300, Monday",
        from_h=6,
        until_h=18,
        slab_c=(15.0,) * 12,
        dew_c=(8.0,) * 12,
        rain_chance_pct=(5.0,) * 12,
        stages=STAGES,
        wet_from_h=10,
        wet_until_h=17,
    )
    return replace(plain, **changes)


def drawn(svg: str) -> ET.Element:
    named = svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return ET.fromstring(named)  # noqa: S314  drawn a moment ago, by us


def words(svg: str) -> list[str]:
    return [element.text or "" for element in drawn(svg).iter(f"{SVG}text")]


def paths(svg: str, kind: str) -> list[str]:
    return [one.get("d", "") for one in drawn(svg).iter(f"{SVG}path") if one.get("class") == kind]


@pytest.mark.parametrize("svg", [week_svg(week(STINT)), day_svg(day()), mark("go")])
def test_a_picture_carries_no_style_and_no_script(svg):
    assert not re.search(r"style=|<style|<script|\son\w+=|https?://", svg)


def test_words_from_outside_are_escaped():
    evil = '"><script>x</script>&'
    stint = replace(STINT, title=evil, note=evil, level_word=evil, href=evil, firm=evil)
    row = CrewRow(evil, evil, (stint,), (OffSpan(48, 60, evil),))
    picture = week(rows=(row,), title=evil, key='k"')

    svg = week_svg(picture)

    assert "<script" not in svg
    assert drawn(svg).find(f".//{SVG}a").get("href") == evil


@pytest.mark.parametrize("level", ["go", "care", "no", "unknown"])
def test_each_level_has_a_mark_of_its_own_shape_and_a_word(level):
    others = {"go", "care", "no", "unknown"} - {level}
    shape = drawn(mark(level))[0].get("d")

    svg = week_svg(week(replace(STINT, level=level, level_word=level.capitalize())))

    assert shape not in {drawn(mark(other))[0].get("d") for other in others}
    assert f"{level.capitalize()} · planned" in words(svg)


def test_a_level_nobody_knows_is_drawn_as_unknown():
    assert mark("great") == mark("unknown")
    assert "level-unknown" in week_svg(week(replace(STINT, level="great")))


def test_hours_without_a_forecast_are_a_gap_and_no_bar():
    blind = tuple(replace(one, rain_chance_pct=(), margin_c=()) for one in days())

    svg = week_svg(week(days=blind))

    assert paths(svg, "rain") == []
    assert paths(svg, "margin") == []
    assert sum(d.count("M") for d in paths(svg, "gap")) == 2 * 5 * 24
    assert words(svg).count("no forecast") == 2 * 5


def test_a_known_chance_of_zero_is_not_a_gap():
    dry = tuple(replace(one, rain_chance_pct=(0.0,) * 24) for one in days())

    svg = week_svg(week(days=dry))

    assert paths(svg, "gap") == []
    assert "rain 0 % all day" in words(svg)


def test_a_chance_is_never_shown_without_its_hours():
    wet = replace(days()[0], rain_chance_pct=(5.0,) * 12 + (70.0,) * 6 + (10.0,) * 6)

    svg = week_svg(week(days=(wet, *days()[1:])))

    assert "70 %, 12:00 to 18:00" in words(svg)


def test_the_gate_stands_at_the_last_safe_pour_and_the_wheel_at_drive_on():
    picture = week(STINT)
    axis = week_axis(picture.days, left=112, right=1239)

    svg = week_svg(picture)

    (gate,) = paths(svg, "gate")
    (wheel,) = paths(svg, "wheel")
    assert gate.startswith(f"M{axis.x(10.9) - 5:.1f} ")
    assert wheel.startswith(f"M{axis.x(32) - 5.5:.1f} ")
    assert "pour by 10:54" in words(svg)
    assert "Patio 300: drive-on Tue 08:00" in words(svg)


def test_a_drive_on_after_the_week_is_an_arrow_and_still_says_when():
    svg = week_svg(week(replace(STINT, drive_on_h=130, drive_on_label="Sat 10:00")))

    assert paths(svg, "wheel") == []
    assert "Patio 300: drive-on Sat 10:00" in words(svg)


def test_stages_lie_to_scale_and_touch():
    picture = week(STINT)
    axis = week_axis(picture.days, left=112, right=1239)

    (coats,) = paths(week_svg(picture), "stage-coat")

    base, top = re.findall(r"M([\d.]+) [\d.]+H([\d.]+)", coats)
    assert [float(x) for x in (*base, *top)] == pytest.approx(
        [axis.x(hour) for hour in (10, 11, 13, 14)], abs=0.06
    )


def test_two_stints_of_one_day_do_not_cover_each_other():
    early = replace(STINT, end_h=11, stages=(), wet_until_h=14)
    late = replace(STINT, start_h=12, end_h=16, stages=(), wet_from_h=13, title="Steps")

    svg = week_svg(week(early, late))

    places = [link.get("transform", "") for link in drawn(svg).iter(f"{SVG}a")]
    assert len({place.split()[1] for place in places}) == 2


def test_a_title_goes_on_in_a_second_line_after_its_comma():
    svg = week_svg(week(replace(STINT, title="Ida Moss, patio, grinder 1")))

    said = words(svg)
    assert "Ida Moss" in said
    assert "patio, grinder 1" in said
    assert "Ida Moss: drive-on Tue 08:00" in said


def test_nights_are_narrow_and_not_gone():
    axis = week_axis(days(1), left=0, right=1000)

    night, noon = axis.x(3) - axis.x(2), axis.x(13) - axis.x(12)

    assert 0 < night < noon / 2


@pytest.mark.parametrize(("hours", "shift"), [(23, -1), (25, 1)])
def test_on_a_day_with_a_change_of_clocks_noon_is_where_the_clock_says(hours, shift):
    # In the United States clocks change at 02:00 local time (15 U.S.C. 260a), so noon is 11 or
    # 13 elapsed hours after midnight.
    changed = DayColumn(label="Sun 8", start_h=0, end_h=hours)

    assert changed.elapsed(12) == 12 + shift
    assert changed.clock_at(changed.elapsed(12)) == 12


def test_a_list_by_day_holds_every_stint_once():
    second = replace(STINT, start_h=26, end_h=33, title="Garage 450")
    before = replace(STINT, start_h=-5, end_h=2, title="Night job")

    entries = by_day(week(STINT, second, before))

    assert [[s.title for _, s in one.stints] for one in entries[:3]] == [
        ["Night job", "Patio 300"],
        ["Garage 450"],
        [],
    ]
    assert entries[0].summary == (
        "Rain 10 % all day. Open slab at least 6.0 °C over dew point, at 00:00."
    )


def test_those_who_listen_hear_the_week_and_each_stint():
    root = drawn(week_svg(week(STINT)))

    link = root.find(f".//{SVG}a")
    assert root.find(f"{SVG}desc").text.startswith("1 crew, 1 stint. Day 0: Rain 10 %")
    assert link.get("aria-label") == (
        "Patio 300, Care, planned, last safe pour 10:54, drive-on Tue 08:00"
    )


def test_the_day_shows_the_least_spread_of_the_wet_window_only():
    # 2 °C at 07:00, before anything is wet; 4 °C at 15:00, while it is.
    slab = tuple(10.0 if hour == 1 else 12.0 if hour == 9 else 15.0 for hour in range(12))

    said = day_summary(day(slab_c=slab))

    assert said.startswith("Least slab over dew point 4.0 °C at 15:00")


def test_the_day_says_unknown_where_the_window_has_no_hours():
    blind = day(slab_c=(None,) * 12, rain_chance_pct=())

    assert "Slab over dew point unknown, rain unknown" in day_summary(blind)
    assert paths(day_svg(blind), "slab-line") == []
    assert "no forecast" in words(day_svg(blind))


def test_the_day_in_fahrenheit_converts_a_spread_without_the_offset():
    # A difference of 7 °C is 12.6 °F: a degree Celsius is 1.8 degrees Fahrenheit (NIST SP 811,
    # appendix B.8).
    assert "12.6 °F" in words(day_svg(day(fahrenheit=True)))


@pytest.mark.parametrize("width", [360, 720])
def test_the_day_keeps_its_words_inside_the_picture(width):
    late = day(last_safe_pour_h=17.9, last_safe_pour_label="17:54", now_h=6.0)

    for element in drawn(day_svg(late, width=width)).iter(f"{SVG}text"):
        assert 0 <= float(element.get("x", "0")) <= width


@pytest.mark.parametrize(("width", "until_h"), [(720, 18), (360, 18), (720, 42), (360, 42)])
def test_the_hours_at_the_foot_are_whole_words_that_stay_apart(width, until_h):
    count = until_h - 6
    long = day(
        until_h=until_h, slab_c=(15.0,) * count, dew_c=(8.0,) * count, twelve=True, fahrenheit=True
    )

    feet = [
        (float(each.get("x", "0")), each.text or "")
        for each in drawn(day_svg(long, width=width)).iter(f"{SVG}text")
        if each.get("class") == "tick-word"
    ]

    assert len(feet) > 3
    assert all(re.fullmatch(r"\d+ [AP]M|noon|midnight", word) for _, word in feet)
    for (left, one), (right, other) in pairwise(feet):
        # Letters of 12.5 px are a little over half as wide as high.
        assert right - left > (len(one) + len(other)) / 2 * 7


def test_the_band_is_not_named_where_the_least_spread_is_drawn():
    early = day(wet_from_h=7, slab_c=(15.0, 12.0, *(15.0,) * 10))

    assert "too close to dew" in words(day_svg(day(wet_from_h=16)))
    assert "too close to dew" not in words(day_svg(early, width=360))


@pytest.mark.parametrize(
    ("hour", "twelve", "said"),
    [
        (13.18, False, "13:11"),
        (13.25, True, "1:15 PM"),
        (12, True, "noon"),
        (0, True, "midnight"),
        (24, False, "00:00"),
        (7, True, "7 AM"),
        (11.9999, True, "noon"),
    ],
)
def test_hours_are_said_as_people_say_them(hour, twelve, said):
    assert clock(hour, twelve=twelve) == said


def test_words_are_cut_or_wrapped_to_their_room():
    assert fitted("Basement 350", room_px=400, size_px=12) == "Basement 350"
    assert fitted("Basement 350", room_px=50, size_px=12).endswith("…")
    assert fitted("Basement 350", room_px=5, size_px=12) == ""
    assert wrapped("unsold until Wed 17:00", room_px=70, size_px=12) == [
        "unsold",
        "until Wed",
        "17:00",
    ]


def test_two_hundred_stints_are_drawn_while_nobody_waits():
    rows = tuple(
        CrewRow(
            f"Crew {crew}",
            stints=tuple(
                replace(
                    STINT,
                    start_h=24.0 * index + 7,
                    end_h=24.0 * index + 14,
                    stages=tuple(
                        replace(s, start_h=s.start_h + 24 * index, end_h=s.end_h + 24 * index)
                        for s in STAGES
                    ),
                    drive_on_h=24.0 * index + 32,
                )
                for index in range(5)
            ),
        )
        for crew in range(40)
    )
    picture = week(rows=rows)

    drawn_s = min(timeit.repeat(lambda: week_svg(picture), number=1, repeat=15))
    counted_s = min(timeit.repeat(lambda: sum(n for n in range(200_000)), number=1, repeat=15))

    # About 5 ms on a quiet machine, where counting to 200 000 takes as long. Only the ratio
    # holds on a busy one; a template engine drawing the same would be far outside it.
    assert drawn_s < 6 * counted_s
