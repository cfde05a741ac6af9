"""Ground under a slab: the year's wave of a place, at the foot of the column and as a start.

A rough climate by latitude is enough here. It only fills what the known hours cannot tell:
the ground two metres down, and the months before the record begins.
"""

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from weather.rules.hours import Series
from weather.rules.slab_formulas import CONCRETE, DAY_S, YEAR_S, damping_depth_m

# The northern year is warmest about 20 July (day 201), the southern half a year apart;
# from memory, within two weeks for inland places.
WARMEST_DAY = 201.0


@dataclass(frozen=True)
class Climate:
    """The year's wave of the air of a place."""

    mean_c: float
    swing_c: float
    southern: bool = False

    @classmethod
    def at(cls, latitude: float) -> "Climate":
        """A guess from latitude alone; several degrees off for coasts and high places.

        Mean: 14.9 - 28 P2(sin latitude), the two-mode fit of North, Cahalan and Coakley,
        Reviews of Geophysics 19 (1981), from memory. Swing: about a third of a degree per
        degree of latitude inland, from memory.
        """
        sine = np.sin(np.radians(latitude))
        mean_c = 14.9 - 28.0 * (3 * sine**2 - 1) / 2
        swing_c = min(0.33 * abs(latitude), 17.0)
        return cls(mean_c=float(mean_c), swing_c=swing_c, southern=latitude < 0)

    def ground_c(self, *, instant: datetime, depth_m: Series) -> Series:
        """Temperature (°C) of undisturbed ground at those depths; at 0 m, the air's wave."""
        new_year = datetime(instant.astimezone(UTC).year, 1, 1, tzinfo=UTC)
        since_s = (instant - new_year).total_seconds() - WARMEST_DAY * DAY_S
        if self.southern:
            since_s += YEAR_S / 2
        diffusivity = CONCRETE.diffusivity_m2_s
        damped = depth_m / damping_depth_m(diffusivity_m2_s=diffusivity, period_s=YEAR_S)
        phase = 2 * np.pi * since_s / YEAR_S
        ground: Series = self.mean_c + self.swing_c * np.exp(-damped) * np.cos(phase - damped)
        return ground
