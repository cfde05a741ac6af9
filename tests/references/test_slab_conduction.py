"""The step-by-step model of a slab against closed answers from the literature.

H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids (2nd ed. 1959), chapter 2, and
E. S. Barber, Highway Research Board Bulletin 168 (1957), for the surface behind a film.
"""

from math import pi, sin

import numpy as np
import pytest

from weather.rules import slab_formulas
from weather.rules.conduction import Column, march
from weather.rules.slab_formulas import CONCRETE, DAY_S, YEAR_S, Medium

COLUMN = Column()
WALL = 1e7  # a film so good that the surface is the air itself


def marched(*, drive_c, film, column=COLUMN, layers_c=None, bottom_c=0.0, step_s=3600.0):
    """One column carried through `drive_c`; layers start at zero unless given."""
    drive = np.array([drive_c], dtype=float)
    if layers_c is None:
        layers_c = np.zeros(len(column.nodes_m))
    return march(
        layers_c=np.array([layers_c]),
        drive_c=drive,
        film_w_m2k=np.full_like(drive, film),
        bottom_c=np.full_like(drive, bottom_c),
        column=column,
        step_s=step_s,
    )


def wave_found(samples, *, per_day):
    """Share and lag (h) of a day's wave in the last day of `samples`."""
    last = np.array(samples)[-per_day:]
    phase = 2 * pi * np.arange(per_day) / per_day
    sine, cosine = 2 * np.mean(last * np.sin(phase)), 2 * np.mean(last * np.cos(phase))
    return np.hypot(sine, cosine), -np.arctan2(cosine, sine) / (2 * pi) * 24


def settled_days(*, film, depth_m):
    """Share and lag of the day's wave at a depth once twelve days have gone by."""
    nodes, per_day, found = COLUMN.nodes_m, 96, []
    layers = np.zeros(len(nodes))
    for step in range(12 * per_day):
        air = sin(2 * pi * (step + 0.5) / per_day)
        layers = marched(
            drive_c=[air], film=film, layers_c=layers, step_s=DAY_S / per_day
        ).layers_c[0]
        found.append(np.interp(depth_m, nodes, layers))
    # The value belongs to the end of its step, one step after the phase it is held against.
    share, lag_h = wave_found(found, per_day=per_day)
    return share, lag_h + 24 / per_day


def test_concrete_spreads_heat_as_the_handbook_says():
    assert pytest.approx(6.917e-7, rel=1e-3) == CONCRETE.diffusivity_m2_s
    depth = slab_formulas.damping_depth_m
    assert depth(diffusivity_m2_s=6.917e-7, period_s=DAY_S) == pytest.approx(0.1379, abs=1e-4)
    assert depth(diffusivity_m2_s=6.917e-7, period_s=YEAR_S) == pytest.approx(2.635, abs=2e-3)


@pytest.mark.parametrize(
    ("depth_m", "share", "lag_h"),
    [(0.05, 0.696, 1.38), (0.10, 0.484, 2.77), (0.15, 0.337, 4.15), (0.20, 0.235, 5.54)],
)
def test_a_wave_of_the_surface_is_damped_with_depth(depth_m, share, lag_h):
    closed = slab_formulas.wave_at_depth(depth_m=depth_m, diffusivity_m2_s=6.917e-7)
    found_share, found_lag_h = settled_days(film=WALL, depth_m=depth_m)

    assert closed.share == pytest.approx(share, abs=1e-3)
    assert closed.lag_h == pytest.approx(lag_h, abs=0.01)
    # Layers are up to 3 cm thick at 20 cm: one part in a hundred of the wave.
    assert found_share == pytest.approx(share, abs=0.01)
    assert found_lag_h == pytest.approx(lag_h, abs=0.1)


@pytest.mark.parametrize(
    ("film", "share", "lag_h"),
    [(6, 0.315, 2.14), (10, 0.443, 1.78), (20, 0.629, 1.24), (34, 0.751, 0.86)],
)
def test_the_surface_follows_the_air_through_a_film(film, share, lag_h):
    closed = slab_formulas.wave_through_film(film_w_m2k=film)
    found_share, found_lag_h = settled_days(film=film, depth_m=0.0)

    assert closed.share == pytest.approx(share, abs=1e-3)
    assert closed.lag_h == pytest.approx(lag_h, abs=0.01)
    assert found_share == pytest.approx(share, abs=0.005)
    assert found_lag_h == pytest.approx(lag_h, abs=0.06)


def test_the_film_wave_agrees_with_the_worked_pavement():
    # Barber 1957 at 5 mph: h 3.373 Btu/h ft² °F, H = 4.17 and C = 2.211 per foot, so k is
    # 0.809 Btu/h ft °F and the damping depth 1/2.211 ft.
    to_si = 5.678263
    conductivity = 3.373 / 4.17 * to_si * 0.3048
    diffusivity = (0.3048 / 2.211) ** 2 * pi / DAY_S
    pavement = Medium(conductivity, density_kg_m3=1.0, heat_j_kgk=conductivity / diffusivity)

    wave = slab_formulas.wave_through_film(film_w_m2k=3.373 * to_si, medium=pavement)

    assert wave.share == pytest.approx(0.618, abs=1e-3)
    assert wave.lag_h == pytest.approx(1.27, abs=0.01)


@pytest.mark.parametrize(
    ("depth_m", "shares"), [(0.05, (0.479, 0.772, 0.885)), (0.10, (0.156, 0.563, 0.772))]
)
def test_a_step_of_the_surface_goes_down(depth_m, shares):
    for hours, share in zip((1, 6, 24), shares, strict=True):
        closed = slab_formulas.surface_step_share(
            depth_m=depth_m, after_s=3600 * hours, diffusivity_m2_s=6.917e-7
        )
        layers = marched(drive_c=np.ones(hours), film=WALL).layers_c[0]

        assert closed == pytest.approx(share, abs=1e-3)
        assert np.interp(depth_m, COLUMN.nodes_m, layers) == pytest.approx(share, abs=0.01)


@pytest.mark.parametrize(
    ("film", "shares"),
    [
        (6, (0.202, 0.396, 0.585, 0.723)),
        (10, (0.303, 0.535, 0.715, 0.822)),
        (20, (0.479, 0.715, 0.844, 0.908)),
    ],
)
def test_a_step_of_the_air_warms_the_surface(film, shares):
    for hours, share in zip((1, 6, 24, 72), shares, strict=True):
        closed = slab_formulas.air_step_share(film_w_m2k=film, after_s=3600 * hours)
        surface = marched(drive_c=np.ones(hours), film=film).layers_c[0, 0]

        assert closed == pytest.approx(share, abs=1e-3)
        assert surface == pytest.approx(share, abs=0.002)


def test_the_step_through_a_film_stays_finite_for_years():
    # exp(x²) erfc(x) would overflow; its limit is 1 / (x sqrt(pi)).
    shares = [
        slab_formulas.air_step_share(film_w_m2k=34, after_s=3600 * h) for h in (200, 300, 9000)
    ]

    assert shares == sorted(shares)
    assert shares[-1] < 1


def test_a_water_main_is_buried_deep_enough():
    # Incropera et al., Fundamentals of Heat and Mass Transfer, the example of the buried
    # water main: soil at 20 °C, surface at -15 °C for 60 days; the book prints 0.68 m.
    soil = Medium(conductivity_w_mk=0.52, density_kg_m3=2050, heat_j_kgk=1840)
    closed_m = slab_formulas.depth_of_level_m(
        share=20 / 35, after_s=60 * DAY_S, diffusivity_m2_s=1.38e-7
    )
    column = Column(medium=soil, depth_m=6.0, first_m=0.01, growth=1.1)
    start = np.full(len(column.nodes_m), 20.0)
    found = marched(
        drive_c=np.full(60, -15.0),
        film=WALL,
        column=column,
        layers_c=start,
        bottom_c=20.0,
        step_s=DAY_S,
    )

    assert closed_m == pytest.approx(0.677, abs=1e-3)
    assert np.interp(0.0, found.layers_c[0], column.nodes_m) == pytest.approx(0.677, abs=0.005)


def test_pipes_are_below_the_frost():
    # Çengel, Heat Transfer, the example of buried water pipes: soil at 15 °C, surface at
    # -10 °C for 90 days, 1.5e-7 m²/s. 0.801 m exactly; read from a chart, the book has 0.78.
    depth_m = slab_formulas.depth_of_level_m(
        share=15 / 25, after_s=90 * DAY_S, diffusivity_m2_s=1.5e-7
    )

    assert depth_m == pytest.approx(0.801, abs=1e-3)


def test_a_fast_wave_in_metal_agrees_with_a_published_library():
    # F-Chart Software, EES heat transfer library, semi-infinite body with a sinusoidal
    # surface: 293 + 15 sin(7.272 t) K, 1.1e-4 m²/s, at 1 cm after half a second: 295.4 K.
    found_k = slab_formulas.wave_at_depth_c(
        mean_c=293.0,
        swing_c=15.0,
        after_s=0.5,
        depth_m=0.01,
        diffusivity_m2_s=1.1e-4,
        period_s=2 * pi / 7.272,
    )

    assert found_k == pytest.approx(295.4, abs=0.05)


@pytest.mark.parametrize(
    ("film", "wet_h", "too_near_h"), [(6, 12.9, 92), (9, 5.8, 41), (15, 2.1, 15)]
)
def test_a_cold_slab_sweats_for_hours_when_the_door_opens(film, wet_h, too_near_h):
    # A slab at 45 °F, then air of 65 °F with a dew point of 55 °F: the step through a film
    # of Carslaw and Jaeger, solved for the time.
    slab_c, air_c, dew_c = (45 - 32) / 1.8, (65 - 32) / 1.8, (55 - 32) / 1.8
    start = np.full(len(COLUMN.nodes_m), slab_c)
    surface = marched(
        drive_c=np.full(1200, air_c), film=film, layers_c=start, bottom_c=slab_c, step_s=360.0
    ).surface_c[0]

    hours_wet = np.argmax(surface > dew_c) * 0.1
    hours_too_near = np.argmax(surface > dew_c + 5 / 1.8) * 0.1

    assert hours_wet == pytest.approx(wet_h, abs=0.2)
    # The ground is held at 2 m, where the closed answer goes on for ever.
    assert hours_too_near == pytest.approx(too_near_h, rel=0.02)


def test_warming_a_slab_by_ten_degrees_takes_a_hundred_btu_a_square_foot():
    # 4 inches of concrete by 10 °F: 101 Btu/ft², worked from density and specific heat
    # (Incropera et al., table A.3, from memory); 50,000 Btu for 500 sq ft before any loss.
    stone = COLUMN.medium
    joules_m2 = stone.density_kg_m3 * stone.heat_j_kgk * 4 * 0.0254 * (10 / 1.8)

    btu_ft2 = joules_m2 / 1055.056 * 0.09290304

    assert btu_ft2 == pytest.approx(101, abs=1)
