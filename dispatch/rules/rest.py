"""Rest after night work: ten hours in which nobody is sent to another floor."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

NIGHT_FROM, NIGHT_UNTIL = time(22, 0), time(5, 0)  # common practice
# Ten hours off in a row is what a driver of a commercial vehicle needs before the next day,
# 49 CFR 395.3(a)(1); a crew drives its trailer home.
REST = timedelta(hours=10)


def rest_until(
    *, start: datetime, end: datetime, home: datetime, zone: ZoneInfo
) -> datetime | None:
    """Until when the people of a stint rest; None where they were not out at night.

    A stint is at night where it ends after 10 PM of the day it began on, or begins before
    5 AM, by the clock of `zone`. The rest counts from `home`, in elapsed hours.
    """
    local = start.astimezone(zone)
    evening = datetime.combine(local.date(), NIGHT_FROM, tzinfo=zone)
    # As instants: on one wall clock two times around a change of clocks can look reversed.
    late = end.timestamp() > evening.timestamp()
    return home + REST if late or local.time() < NIGHT_UNTIL else None
