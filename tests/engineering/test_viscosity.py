"""Oil thins with temperature as ASTM D341 says."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.viscosity import (
    d_ln_viscosity_per_K,
    density_at,
    temperature_at,
    viscosity_at,
    walther_a_of_slope,
    walther_constants,
)

oils = st.tuples(st.floats(1.5, 1000.0), st.floats(0.08, 0.6)).map(
    lambda drawn: (drawn[0], max(0.25, drawn[0] * drawn[1] * drawn[0] ** -0.25))
)
"""Viscosities at 40 and 100 °C, from fluids like water to gear oils."""


def test_an_hm_46_oil_follows_the_law_through_its_two_points() -> None:
    # Our design's check values, computed from ASTM D341 by an independent prototype
    a, b = walther_constants(46.0, 6.8)
    assert a == pytest.approx(9.4180, abs=5e-5)
    assert b == pytest.approx(3.6844, abs=5e-5)
    expected = [577.3, 133.8, 29.97, 20.62]
    assert viscosity_at([0.0, 20.0, 50.0, 60.0], a, b) == pytest.approx(expected, rel=5e-4)
    assert d_ln_viscosity_per_K(50.0, a, b) == pytest.approx(-0.0399, abs=5e-5)


def test_an_oil_of_32_at_40_degrees_gives_the_constants_of_a_published_worksheet() -> None:
    # Published ASTM D341 worksheet: 32 and 5.4 mm²/s give A 9.5259, B 3.7449 and 8.5 mm²/s at 80 °C, with
    # T = t + 273. B and A shift a little with 273.15 (B by 273.15-273 over the mean of T, 0.04 %).
    a, b = walther_constants(32.0, 5.4)
    assert b == pytest.approx(3.7449, rel=1e-3)
    assert a == pytest.approx(9.5259, rel=1e-3)
    assert viscosity_at(80.0, a, b) == pytest.approx(8.5, abs=0.05)


def test_the_short_form_of_the_law_agrees_above_two_mm2_per_s() -> None:
    # ASTM D341: for ν ≥ 2 mm²/s log10 log10 (ν + 0.7) = A − B log10 T suffices
    a, b = walther_constants(46.0, 6.8)
    temperature_degC = np.linspace(-20.0, 150.0, 35)
    short = 10.0**10.0 ** (a - b * np.log10(temperature_degC + 273.15)) - 0.7
    assert np.all(short > 2.0)
    assert viscosity_at(temperature_degC, a, b) == pytest.approx(short, rel=5e-4)


def test_a_fluid_as_thin_as_water_keeps_its_two_points() -> None:
    # Water, IAPWS values from memory: 0.658 mm²/s at 40 °C, 0.294 mm²/s at 100 °C. The printed inverse of the
    # full form is a fit: it gives the two points back within 1 %, where the short form would be far off.
    a, b = walther_constants(0.658, 0.294)
    assert viscosity_at([40.0, 100.0], a, b) == pytest.approx([0.658, 0.294], rel=0.01)


@given(oils, st.floats(-40.0, 140.0), st.floats(0.5, 50.0))
def test_hotter_oil_is_thinner(oil: tuple[float, float], temperature_degC: float, warmer_K: float) -> None:
    constants = walther_constants(*oil)
    cold, warm = viscosity_at([temperature_degC, temperature_degC + warmer_K], *constants)
    assert warm < cold
    assert d_ln_viscosity_per_K(temperature_degC, *constants) < 0.0


@given(oils, st.floats(-40.0, 190.0))
def test_the_slope_is_the_derivative_of_the_law(oil: tuple[float, float], temperature_degC: float) -> None:
    constants = walther_constants(*oil)
    below, above = np.log(viscosity_at([temperature_degC - 0.01, temperature_degC + 0.01], *constants))
    assert d_ln_viscosity_per_K(temperature_degC, *constants) == pytest.approx((above - below) / 0.02, rel=1e-4)


@given(oils)
def test_the_law_goes_through_the_points_it_was_made_from(oil: tuple[float, float]) -> None:
    a, b = walther_constants(*oil)
    assert viscosity_at([40.0, 100.0], a, b) == pytest.approx(oil, rel=0.01)
    assert walther_a_of_slope(oil[0], b) == pytest.approx(a, rel=1e-12)


def test_an_unknown_temperature_gives_an_unknown_viscosity() -> None:
    constants = walther_constants(46.0, 6.8)
    assert np.isnan(viscosity_at([np.nan, 40.0], *constants)).tolist() == [True, False]
    assert np.isnan(d_ln_viscosity_per_K(np.nan, *constants))
    assert np.isnan(density_at(np.nan, 870.0))


def test_an_oil_that_freezes_is_thicker_than_anything_and_warns_nobody() -> None:
    a, b = walther_constants(5000.0, 3.0)
    viscosity = viscosity_at([-60.0, 40.0], a, b)
    assert viscosity[0] > 1e20
    assert np.isfinite(d_ln_viscosity_per_K(-60.0, a, b))


@pytest.mark.parametrize("temperature_degC", [-61.0, 251.0])
def test_a_temperature_no_hydraulic_oil_has_is_refused(temperature_degC: float) -> None:
    with pytest.raises(ValueError, match="outside -60 to 250"):
        viscosity_at(temperature_degC, 9.4, 3.7)


@pytest.mark.parametrize(("at_40", "at_100"), [(46.0, 46.0), (6.8, 46.0), (1.0, 0.1), (46.0, float("nan"))])
def test_an_oil_that_does_not_thin_or_is_thinner_than_the_law_is_refused(at_40: float, at_100: float) -> None:
    with pytest.raises(ValueError, match="mm²/s at 40 °C and"):
        walther_constants(at_40, at_100)


def test_a_slope_with_no_oil_to_it_is_refused() -> None:
    with pytest.raises(ValueError, match=r"below the 0\.21"):
        walther_a_of_slope(0.1, 3.7)


def test_oil_expands_by_seven_parts_in_ten_thousand_a_kelvin() -> None:
    # from memory: 870 · (1 − 7e-4 · 35)
    assert density_at([15.0, 50.0], 870.0) == pytest.approx([870.0, 848.685])


@given(oil=oils, oil_temperature_degC=st.floats(-20.0, 120.0))
def test_the_temperature_of_a_viscosity_is_the_one_that_gives_it(
    oil: tuple[float, float], oil_temperature_degC: float
) -> None:
    a, b = walther_constants(*oil)
    viscosity = float(viscosity_at(oil_temperature_degC, a, b))
    if 0.5 < viscosity < 1e6:
        # the two exponential terms of the standard are inverse to each other within 0.05 % of ν
        assert float(temperature_at(viscosity, a, b)) == pytest.approx(oil_temperature_degC, abs=0.3)


def test_the_temperature_of_no_oil_is_refused() -> None:
    with pytest.raises(ValueError, match=r"below the 0\.21"):
        temperature_at([46.0, 0.1], *walther_constants(46.0, 6.8))
