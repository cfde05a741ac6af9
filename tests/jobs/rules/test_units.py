"""Units against published conversions, and there and back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.rules import units


# NIST Special Publication 811, appendix B.8, and the definitions of °F and °C.
@pytest.mark.parametrize(
    ("found", "published"),
    [
        (units.f_from_c(100), 212),
        (units.f_from_c(-40), -40),
        (units.c_from_f(32), 0),
        (units.f_difference(5), 9),
        (units.c_difference(5), 2.777778),
        (units.m2_from_ft2(1), 9.290304e-2),
        (units.m_from_ft(1), 3.048e-1),
        (units.l_from_gal(1), 3.785412),
        (units.kg_from_lb(1), 4.535924e-1),
        (units.miles_from_km(1.609344), 1),
        (units.mph_from_kmh(1.609344), 1),
        (units.inches_from_mm(25.4), 1),
        (units.kg_per_m2_from_lb_per_ft2(1), 4.882428),
    ],
)
def test_published_conversions(found, published):
    assert found == pytest.approx(published, rel=1e-6)


@given(value=st.floats(min_value=-1000, max_value=1000))
def test_there_and_back(value):
    for there, back in (
        (units.f_from_c, units.c_from_f),
        (units.f_difference, units.c_difference),
        (units.ft2_from_m2, units.m2_from_ft2),
        (units.ft_from_m, units.m_from_ft),
        (units.gal_from_l, units.l_from_gal),
        (units.lb_from_kg, units.kg_from_lb),
        (units.ft2_per_gal_from_m2_per_l, units.m2_per_l_from_ft2_per_gal),
        (units.lb_per_ft2_from_kg_per_m2, units.kg_per_m2_from_lb_per_ft2),
    ):
        assert back(there(value)) == pytest.approx(value, abs=1e-9)


def test_a_film_of_nothing_is_refused():
    with pytest.raises(ValueError, match="thickness"):
        units.m2_per_l_at_wet_film(0)
