"""When a crew that has not confirmed a change is rung: the evening before, and before it leaves."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

# Common practice: nobody rings a crew at work for what it may press by the evening.
EVENING, MORNING = time(18), time(6)
BEFORE_LEAVING = timedelta(hours=1)


def ring_from(*, told_at: datetime, leaves: datetime, zone: ZoneInfo) -> datetime:
    """From when an unconfirmed change is somebody's task to ring.

    At 6 PM of the day it was told, and at the latest at 6 AM or an hour before the crew
    leaves, whichever is earlier; at once where that has passed already.
    """
    evening = datetime.combine(told_at.astimezone(zone).date(), EVENING, tzinfo=zone)
    morning = datetime.combine(leaves.astimezone(zone).date(), MORNING, tzinfo=zone)
    latest = min(morning, leaves - BEFORE_LEAVING)
    wanted = evening if told_at <= evening else latest
    return max(told_at, min(wanted, latest))
