"""Until when a proposed day may be answered before somebody rings."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

ASK_UNTIL = time(20, 0)
# Asked later than this, nobody can be expected to have read it by eight.
ENOUGH = timedelta(minutes=30)
# An answer that comes later than this before the work helps nobody.
TOO_NEAR = timedelta(hours=2)


def answer_by(*, asked: datetime, first_start: datetime, zone: ZoneInfo) -> datetime:
    """Eight in the evening at the site: today's, or tomorrow's if it is late already.

    Where the proposed work is too near for that, at once.
    """
    day = asked.astimezone(zone).date()
    evening = datetime.combine(day, ASK_UNTIL, tzinfo=zone)
    if asked > evening - ENOUGH:
        evening = datetime.combine(day + timedelta(days=1), ASK_UNTIL, tzinfo=zone)
    return evening if evening <= first_start - TOO_NEAR else asked
