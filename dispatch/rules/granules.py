"""Quarters of an hour in UTC since 1970: the grain in which everybody's time is claimed."""

from datetime import UTC, datetime, timedelta

GRANULE = timedelta(minutes=15)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def granules(start: datetime, end: datetime) -> range:
    """Numbers of the quarters that [start, end) touches."""
    first = (start - EPOCH) // GRANULE
    last = -((EPOCH - end) // GRANULE)
    return range(first, last)
