"""Pictures: SVG as text, drawn from plain values.

Only classes and attributes are written, never a style, so that a strict content security
policy holds; the colours are in pictures.css. Every word from outside is escaped. One path
per kind of thing keeps a full week small and quick.
"""

from dispatch.rules.pictures.day import DayPicture, day_summary
from dispatch.rules.pictures.daydraw import day_svg
from dispatch.rules.pictures.dayhours import HourRow, StageRow, day_hours, day_stages
from dispatch.rules.pictures.svg import mark
from dispatch.rules.pictures.week import (
    CrewRow,
    DayColumn,
    DayEntries,
    OffSpan,
    StageBar,
    StintBar,
    WeekPicture,
    by_day,
)
from dispatch.rules.pictures.weekdraw import week_svg

__all__ = [
    "CrewRow",
    "DayColumn",
    "DayEntries",
    "DayPicture",
    "HourRow",
    "OffSpan",
    "StageBar",
    "StageRow",
    "StintBar",
    "WeekPicture",
    "by_day",
    "day_hours",
    "day_stages",
    "day_summary",
    "day_svg",
    "mark",
    "week_svg",
]
