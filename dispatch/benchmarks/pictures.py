"""How long the picture of a week takes: 40 crews with five stints each, beside a template.

The baseline writes one element for each stage, line and word with a Django template, as a page
would without a module that draws; it draws less than the picture does.
"""

from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from itertools import cycle, islice
from typing import Any

from django.template import Context, Engine

from dispatch.benchmarks.company import AREAS_M2, plan_of
from dispatch.benchmarks.measuring import beside, measured
from dispatch.rules.pictures import CrewRow, DayColumn, StageBar, StintBar, WeekPicture, week_svg
from jobs.rules.plan import Plan
from weather.rules.hours import HOUR

WORK_DAYS = 5
STARTS_H = 7.0
LEVELS = (("go", "Go"), ("care", "Care"), ("no", "No"), ("unknown", "Unknown"))
TEMPLATE = """
<svg viewBox="0 0 1680 {{ high }}">{% for row in rows %}<g class="row">
<text class="name" y="{{ forloop.counter }}">{{ row.name }}, {{ row.people }}</text>
{% for stint in row.stints %}<a href="{{ stint.href }}"><title>{{ stint.title }}, {{ stint.note }}
{{ stint.last_safe_pour_label }} {{ stint.drive_on_label }}</title>
{% for stage in stint.stages %}<rect class="{{ stage.kind }}{% if stage.wait %} wait{% endif %}"
 x="{{ stage.start_h|floatformat:1 }}" width="{{ stage.end_h|floatformat:1 }}" height="20"/>
{% endfor %}<path class="wave" d="M{{ stint.wet_from_h }} 20H{{ stint.wet_until_h }}"/>
<path class="gate" d="M{{ stint.last_safe_pour_h|floatformat:1 }} 0v20"/>
<text class="word-{{ stint.level }}">{{ stint.level_word }}, {{ stint.firm }}</text>
<text class="rail">drive-on {{ stint.drive_on_label }}</text></a>{% endfor %}</g>{% endfor %}</svg>
"""


@dataclass(frozen=True)
class Size:
    """How many crews the week has."""

    crews: int = 40
    times: int = 60


def run(size: Size) -> dict[str, Any]:
    """The figures of the picture, and of a template that draws the same stints."""
    week = picture(size.crews)
    template = Engine(autoescape=True).from_string(TEMPLATE)
    context = Context({"rows": week.rows, "high": 60 * size.crews})
    ours = measured(partial(week_svg, week), times=size.times)
    naive = measured(partial(template.render, context), times=10)
    return {
        "crews": size.crews,
        "stints": sum(len(row.stints) for row in week.rows),
        "letters": len(week_svg(week)),
        **beside(ours=ours, naive=naive, naive_words="a template with an element for each part"),
    }


def picture(crews: int) -> WeekPicture:
    """A full week of so many crews, of every level and firmness."""
    plans = cycle([plan_of(area_m2) for area_m2 in AREAS_M2])
    levels = cycle(LEVELS)
    return WeekPicture(
        title="Week of Mon 1 June",
        days=tuple(_day(number) for number in range(7)),
        rows=tuple(
            CrewRow(
                name=f"Crew {crew + 1}",
                people="Ana, Ben",
                stints=tuple(
                    _stint(plan, *level, begins_h=24 * day + STARTS_H)
                    for day, (plan, level) in enumerate(
                        zip(islice(plans, WORK_DAYS), levels, strict=False)
                    )
                ),
            )
            for crew in range(crews)
        ),
    )


def _day(number: int) -> DayColumn:
    return DayColumn(
        label=f"Day {number + 1}",
        start_h=24.0 * number,
        end_h=24.0 * number + 24,
        rain_chance_pct=tuple(float((hour * 7 + number * 13) % 90) for hour in range(24)),
        margin_c=tuple(2.0 + (hour + number) % 9 for hour in range(24)),
        sunrise=5.5,
        sunset=20.5,
    )


def _stint(plan: Plan, level: str, word: str, *, begins_h: float) -> StintBar:
    def h(instant: Any) -> float:
        return begins_h + float((instant - plan.start) / HOUR)

    safe = plan.pour + timedelta(hours=2)
    return StintBar(
        href="/bookings/1/",
        title="Ada Fields, Garage, Grinder 1",
        start_h=h(plan.start),
        end_h=h(plan.end),
        stages=tuple(
            StageBar(each.kind.value, h(each.start), h(each.end), wait=each.hands == 0)
            for each in plan.visits[0].stages
        ),
        level=level,
        level_word=word,
        firm="confirmed",
        note="Rain 20 % at 3 PM, under the limit of 30 %",
        wet_from_h=h(plan.pour),
        wet_until_h=h(plan.rain_safe or plan.top_end),
        last_safe_pour_h=h(safe),
        last_safe_pour_label="1:11 PM",
        drive_on_h=h(plan.drive_on or plan.end),
        drive_on_label="Wed 8:00 AM",
    )
