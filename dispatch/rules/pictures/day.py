"""One stint's day as plain values, and what it says in sentences."""

from dataclasses import dataclass

from dispatch.rules.pictures.svg import clock
from dispatch.rules.pictures.week import StageBar, spread_words


@dataclass(frozen=True)
class DayPicture:
    """What is drawn. Hours are elapsed since local midnight; the series are hourly from `from_h`.

    `shift_h` added to elapsed hours gives the clock (not 0 after a change of clocks that day).
    `slab_low_c` and `slab_high_c` say how sure the slab is. `None` is unknown.
    """

    title: str
    from_h: int
    until_h: int
    slab_c: tuple[float | None, ...]
    dew_c: tuple[float | None, ...]
    rain_chance_pct: tuple[float | None, ...]
    stages: tuple[StageBar, ...]
    slab_low_c: tuple[float | None, ...] = ()
    slab_high_c: tuple[float | None, ...] = ()
    wet_from_h: float | None = None
    wet_until_h: float | None = None
    last_safe_pour_h: float | None = None
    last_safe_pour_label: str = ""
    sunrise: float | None = None
    sunset: float | None = None
    now_h: float | None = None
    spread_min_c: float = 3.0
    spread_amber_c: float = 5.0
    rain_limit_pct: float = 30.0
    shift_h: float = 0.0
    fahrenheit: bool = False
    twelve: bool = False
    key: str = "day"

    def clock(self, elapsed_h: float) -> str:
        """The clock at `elapsed_h`."""
        return clock(elapsed_h + self.shift_h, twelve=self.twelve)


def day_summary(picture: DayPicture) -> str:
    """The picture in sentences."""
    said = []
    least = least_spread(picture)
    if least is None:
        said.append("Slab over dew point unknown")
    else:
        amount = spread_words(least.spread_c, fahrenheit=picture.fahrenheit)
        said.append(f"Least slab over dew point {amount} at {picture.clock(least.hour)}")
    top = highest_rain(picture)
    said.append(
        "rain unknown"
        if top is None
        else f"highest rain chance {top[0]:.0f} % at {picture.clock(top[1])}"
    )
    if picture.wet_from_h is not None and picture.wet_until_h is not None:
        start, end = picture.clock(picture.wet_from_h), picture.clock(picture.wet_until_h)
        said.append(f"floor wet {start} to {end}")
    if picture.last_safe_pour_label:
        said.append(f"last safe pour {picture.last_safe_pour_label}")
    return ", ".join(said) + "."


def in_window(picture: DayPicture, hour: float) -> bool:
    """Whether the hour that starts at `hour` touches the wet window, or there is none."""
    if picture.wet_from_h is None or picture.wet_until_h is None:
        return True
    return hour + 1 > picture.wet_from_h and hour < picture.wet_until_h


@dataclass(frozen=True, order=True)
class Least:
    """The smallest slab minus dew point while the floor is wet, and where it lies."""

    spread_c: float
    hour: int
    slab_c: float
    dew_c: float


def least_spread(picture: DayPicture) -> Least | None:
    """The hour of the smallest spread; None where no hour of the wet window is known."""
    pairs = zip(picture.slab_c, picture.dew_c, strict=False)
    known = [
        Least(slab - dew, picture.from_h + index, slab, dew)
        for index, (slab, dew) in enumerate(pairs)
        if slab is not None and dew is not None and in_window(picture, picture.from_h + index)
    ]
    return min(known) if known else None


def highest_rain(picture: DayPicture) -> tuple[float, int] | None:
    """The highest chance (%) while the floor is wet, and its first hour."""
    known = [
        (chance, -(picture.from_h + index))
        for index, chance in enumerate(picture.rain_chance_pct)
        if chance is not None and in_window(picture, picture.from_h + index)
    ]
    if not known:
        return None
    chance, minus_hour = max(known)
    return chance, -minus_hour
