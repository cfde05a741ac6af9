"""An order that is only described: enough to look for its days while the caller is talking.

It has the names a `Job` has, as far as the search for days asks, and no row in the database.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from jobs.models import Branch, CoatingSystem, DayWish, Job
from jobs.rules.machines import Access
from jobs.rules.plan import Condition, Work
from weather.models import Place
from weather.rules.exposures import Exposure


@dataclass(frozen=True)
class DescribedSite:
    """Where it is, as far as a postal code tells."""

    latitude: float
    longitude: float
    zone: str
    place: Place
    town: str
    postal_code: str
    street: str = ""
    opens: time | None = None
    closes: time | None = None
    quiet_until: time | None = None
    quiet_from: time | None = None
    gate_rules: Sequence[dict[str, Any]] = ()
    needs_generator: bool = False

    @property
    def grinder_access(self) -> Access:
        """Nobody asks on the telephone what a grinder finds there."""
        return Access()

    @property
    def tz(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.zone)

    @property
    def address(self) -> str:
        """Town and postal code."""
        return f"{self.town} {self.postal_code}".strip()


@dataclass(frozen=True)
class DescribedJob:
    """A floor told on the telephone. Lengths in m, area in m²."""

    branch: Branch
    site: DescribedSite
    system: CoatingSystem
    exposure: Exposure
    area_m2: float
    condition: Condition = Condition.BARE
    steps: int = 0
    customer: str = "The caller"
    pk: None = None
    price: Decimal | None = None
    day_wish: str = DayWish.ANY
    wished_day: date | None = None
    car_needed_by: datetime | None = None
    reopens_at: datetime | None = None
    can_come_soon: bool = False
    returns_to_id: None = None
    off: frozenset[date] = field(default_factory=frozenset)

    def work(self) -> Work:
        """The floor as the rules see it; its edge is that of a square."""
        return Work(
            area_m2=self.area_m2,
            edge_m=float(4 * self.area_m2**0.5),
            steps=self.steps,
            condition=self.condition,
        )

    def exposures(self) -> list[Exposure]:
        """How it lies."""
        return [self.exposure]

    def bays(self) -> int:
        """Nobody asks for joints on the telephone."""
        return 1

    def days_off(self) -> set[date]:
        """Days on which the customer cannot."""
        return set(self.off)


Order = Job | DescribedJob
