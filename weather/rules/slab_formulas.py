"""Closed answers for heat in a thick solid: waves and steps, at a depth or through a film.

H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids (2nd ed. 1959), chapter 2, for
the solid; E. S. Barber, Highway Research Board Bulletin 168 (1957), for a pavement under a
film of air. The step-by-step model is checked against these, and they size its band.
"""

from dataclasses import dataclass
from math import atan2, erfc, exp, pi, sin, sqrt

DAY_S = 86_400.0
YEAR_S = 365.2425 * DAY_S


@dataclass(frozen=True)
class Medium:
    """A solid, as far as heat cares."""

    conductivity_w_mk: float
    density_kg_m3: float
    heat_j_kgk: float

    @property
    def diffusivity_m2_s(self) -> float:
        """How fast temperature spreads (m²/s)."""
        return self.conductivity_w_mk / (self.density_kg_m3 * self.heat_j_kgk)


# Stone-mix concrete. Incropera et al., Fundamentals of Heat and Mass Transfer, table A.3
# (from memory). Ten centimetres of it on soil are close enough to one medium.
CONCRETE = Medium(conductivity_w_mk=1.4, density_kg_m3=2300.0, heat_j_kgk=880.0)


@dataclass(frozen=True)
class Wave:
    """What is left of a daily or yearly wave: share of its height, and how late (hours)."""

    share: float
    lag_h: float


def damping_depth_m(*, diffusivity_m2_s: float, period_s: float) -> float:
    """Depth (m) at which a temperature wave of that period is down to 1/e."""
    return sqrt(diffusivity_m2_s * period_s / pi)


def wave_at_depth(*, depth_m: float, diffusivity_m2_s: float, period_s: float = DAY_S) -> Wave:
    """A wave of the surface temperature, as found at a depth."""
    damped = depth_m / damping_depth_m(diffusivity_m2_s=diffusivity_m2_s, period_s=period_s)
    return Wave(share=exp(-damped), lag_h=damped * period_s / (2 * pi) / 3600)


def wave_at_depth_c(
    *,
    mean_c: float,
    swing_c: float,
    after_s: float,
    depth_m: float,
    diffusivity_m2_s: float,
    period_s: float,
) -> float:
    """Temperature at a depth when the surface has long been `mean_c + swing_c sin(...)`."""
    damped = depth_m / damping_depth_m(diffusivity_m2_s=diffusivity_m2_s, period_s=period_s)
    return mean_c + swing_c * exp(-damped) * sin(2 * pi * after_s / period_s - damped)


def wave_through_film(
    *, film_w_m2k: float, medium: Medium = CONCRETE, period_s: float = DAY_S
) -> Wave:
    """A wave of the air, as found on the surface behind a film (Barber 1957)."""
    film = film_w_m2k / medium.conductivity_w_mk
    solid = 1 / damping_depth_m(diffusivity_m2_s=medium.diffusivity_m2_s, period_s=period_s)
    lag_s = atan2(solid, film + solid) * period_s / (2 * pi)
    return Wave(share=film / sqrt((film + solid) ** 2 + solid**2), lag_h=lag_s / 3600)


def surface_step_share(*, depth_m: float, after_s: float, diffusivity_m2_s: float) -> float:
    """Share (0..1) of a sudden change of the surface that a depth has taken up."""
    return erfc(depth_m / (2 * sqrt(diffusivity_m2_s * after_s)))


def depth_of_level_m(*, share: float, after_s: float, diffusivity_m2_s: float) -> float:
    """Depth (m) that has taken up just `share` of a sudden change of the surface."""
    low, high = 0.0, 6.0  # erfc(6) is 2e-17: nothing is left there
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if erfc(middle) > share else (low, middle)
    return 2 * low * sqrt(diffusivity_m2_s * after_s)


def air_step_share(*, film_w_m2k: float, after_s: float, medium: Medium = CONCRETE) -> float:
    """Share (0..1) of a sudden change of the air that the surface has taken up.

    What is missing to 1 is also the weight that a wrongly guessed past still has.
    """
    reach = film_w_m2k * sqrt(medium.diffusivity_m2_s * after_s) / medium.conductivity_w_mk
    if reach > 20:  # exp() would soon overflow; the first terms of the series are exact here
        return 1 - (1 - 1 / (2 * reach**2)) / (reach * sqrt(pi))
    return 1 - exp(reach**2) * erfc(reach)
