"""What a floor takes and how its stages lie on the clock: plain values, no behaviour."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class StageKind(StrEnum):
    """The steps of a job in the order of the day."""

    SET_UP = "set_up"
    MASK = "mask"
    GRIND = "grind"  # with edges, cracks and repairs beside it
    VACUUM = "vacuum"
    VERTICALS = "verticals"  # stem walls and steps
    BASE = "base"  # cut in, pour, broadcast
    SET = "set"  # the wait
    SCRAPE = "scrape"
    ABRADE = "abrade"
    TOP = "top"
    PACK = "pack"
    BREAK = "break"  # the crew rests on site

    @property
    def wait(self) -> bool:
        """Nobody's hands are needed."""
        return self in {StageKind.SET, StageKind.BREAK}

    @property
    def noisy(self) -> bool:
        """Heard by neighbours."""
        return self in {StageKind.GRIND, StageKind.VACUUM, StageKind.SCRAPE, StageKind.ABRADE}


class Condition(StrEnum):
    """What lies on the slab today; sets how fast it grinds."""

    BARE = "bare"
    SEALER = "sealer"
    THICK = "thick"


@dataclass(frozen=True)
class Work:
    """One floor as a crew meets it. Lengths in m, area in m²."""

    area_m2: float
    edge_m: float
    crack_m: float = 0.0
    stem_wall_m: float = 0.0
    steps: int = 0
    spalls: int = 0
    condition: Condition = Condition.BARE
    porous: bool = False  # block or rough concrete, which drinks more of the base


@dataclass(frozen=True)
class Stage:
    """One step on the clock, half open; `hands` people work, none in a wait."""

    kind: StageKind
    start: datetime
    end: datetime
    hands: int


@dataclass(frozen=True)
class Visit:
    """One continuous stretch of one crew on the site."""

    stages: tuple[Stage, ...]

    @property
    def start(self) -> datetime:
        return self.stages[0].start

    @property
    def end(self) -> datetime:
        return self.stages[-1].end


@dataclass(frozen=True)
class Plan:
    """The whole job on the clock, with the moments that others are promised.

    Moments are exact; promises round up. `drive_on` is None where the card gives no date at
    the temperatures met; `drive_on_basis` says in words what it rests on.
    """

    visits: tuple[Visit, ...]
    pour: datetime
    base_end: datetime
    recoat_from: datetime
    recoat_until: datetime
    top_start: datetime
    top_end: datetime
    tack_free: datetime | None
    rain_safe: datetime | None
    walk_on: datetime | None
    drive_on: datetime | None
    drive_on_basis: str
    slab_at_pour_c: float
    slab_at_top_c: float
    abraded: bool = False
    base_rain_safe: datetime | None = None  # of a base that waits for another visit
    drive_on_slab_c: float | None = None  # the mean temperature `drive_on` rests on

    @property
    def start(self) -> datetime:
        return self.visits[0].start

    @property
    def end(self) -> datetime:
        return self.visits[-1].end
