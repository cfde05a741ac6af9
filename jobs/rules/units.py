"""Units: between what is stored (metric) and what an American office types and reads."""

# Exact by the international yard and pound agreement (1959) and the US liquid gallon of
# 231 cubic inches: NIST Special Publication 811, appendix B.
M_PER_FT = 0.3048
M2_PER_FT2 = M_PER_FT**2
L_PER_GAL = 3.785411784
KG_PER_LB = 0.45359237
KM_PER_MILE = 1.609344
MM_PER_INCH = 25.4


def f_from_c(temperature_c: float) -> float:
    """A temperature in °F."""
    return temperature_c * 1.8 + 32


def c_from_f(temperature_f: float) -> float:
    """A temperature in °C."""
    return (temperature_f - 32) / 1.8


def f_difference(difference_c: float) -> float:
    """A difference of temperatures in °F: no offset, so 3 °C of spread are 5.4 °F."""
    return difference_c * 1.8


def c_difference(difference_f: float) -> float:
    """A difference of temperatures in °C."""
    return difference_f / 1.8


def ft2_from_m2(area_m2: float) -> float:
    """An area in square feet."""
    return area_m2 / M2_PER_FT2


def m2_from_ft2(area_ft2: float) -> float:
    """An area in m²."""
    return area_ft2 * M2_PER_FT2


def ft_from_m(length_m: float) -> float:
    """A length in feet."""
    return length_m / M_PER_FT


def m_from_ft(length_ft: float) -> float:
    """A length in m."""
    return length_ft * M_PER_FT


def gal_from_l(volume_l: float) -> float:
    """A volume in US gallons."""
    return volume_l / L_PER_GAL


def l_from_gal(volume_gal: float) -> float:
    """A volume in litres."""
    return volume_gal * L_PER_GAL


def lb_from_kg(mass_kg: float) -> float:
    """A mass in pounds."""
    return mass_kg / KG_PER_LB


def kg_from_lb(mass_lb: float) -> float:
    """A mass in kg."""
    return mass_lb * KG_PER_LB


def m2_per_l_from_ft2_per_gal(coverage: float) -> float:
    """A coverage in m² per litre."""
    return coverage * M2_PER_FT2 / L_PER_GAL


def ft2_per_gal_from_m2_per_l(coverage: float) -> float:
    """A coverage in square feet per gallon."""
    return coverage * L_PER_GAL / M2_PER_FT2


def kg_per_m2_from_lb_per_ft2(load: float) -> float:
    """A load in kg per m²."""
    return load * KG_PER_LB / M2_PER_FT2


def lb_per_ft2_from_kg_per_m2(load: float) -> float:
    """A load in pounds per square foot."""
    return load * M2_PER_FT2 / KG_PER_LB


def mph_from_kmh(speed_kmh: float) -> float:
    """A speed in miles per hour."""
    return speed_kmh / KM_PER_MILE


def miles_from_km(distance_km: float) -> float:
    """A distance in miles."""
    return distance_km / KM_PER_MILE


def inches_from_mm(depth_mm: float) -> float:
    """A depth in inches."""
    return depth_mm / MM_PER_INCH


def m_from_inches(length_in: float) -> float:
    """A length in m."""
    return length_in * MM_PER_INCH / 1000


def m2_per_l_at_wet_film(film_um: float, *, solids: float = 1.0) -> float:
    """Coverage (m² per litre) that leaves a dry film of `film_um` micrometres.

    A litre over a m² stands one millimetre high; what is not solids by volume goes away.
    """
    if film_um <= 0 or not 0 < solids <= 1:
        raise ValueError("a film needs a thickness above zero and solids up to 1")
    return 1000 * solids / film_um
