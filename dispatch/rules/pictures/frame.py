"""Where the hours and degrees of a day's picture lie."""

from dataclasses import dataclass
from math import ceil, floor

from dispatch.rules.pictures.day import DayPicture

TEXT_PX = 12.5
LEFT, NAMES = 40.0, 68.0  # room for degrees at the left, for names of lines at the right
SLAB_TOP, SLAB_FOOT = 30.0, 142.0
RAIN_TOP, RAIN_FOOT = 162.0, 200.0
BAR_TOP, BAR_FOOT, WAVE_AT, WORD_AT = 220.0, 246.0, 257.0, 276.0
TICK_AT, HEIGHT = 298.0, 318.0


@dataclass(frozen=True)
class Frame:
    """Where hours and temperatures lie."""

    left: float
    right: float
    from_h: float
    until_h: float
    low_c: float
    high_c: float

    def x(self, hour: float) -> float:
        """The place of `hour`, held inside the frame."""
        part = (hour - self.from_h) / (self.until_h - self.from_h)
        return self.left + min(max(part, 0.0), 1.0) * (self.right - self.left)

    def y(self, degrees: float) -> float:
        """The height of a temperature (°C)."""
        part = (degrees - self.low_c) / (self.high_c - self.low_c)
        return SLAB_FOOT - part * (SLAB_FOOT - SLAB_TOP)


def framed(picture: DayPicture, width: int) -> Frame:
    """The frame that holds every known temperature and the comfortable band over dew point."""
    values = [
        value
        for series in (picture.slab_c, picture.slab_low_c, picture.slab_high_c, picture.dew_c)
        for value in series
        if value is not None
    ]
    values += [dew + picture.spread_amber_c for dew in picture.dew_c if dew is not None]
    low, high = (min(values), max(values)) if values else (0.0, 20.0)
    return Frame(
        left=LEFT,
        right=width - NAMES,
        from_h=picture.from_h,
        until_h=picture.until_h,
        low_c=floor(low) - 1,
        high_c=ceil(high) + 1,
    )
