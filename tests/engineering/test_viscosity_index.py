"""Viscosity index as ASTM D2270 tabulates and computes it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.viscosity_index import (
    reference_oils_40_mm2_s,
    viscosity_40_of_index,
    viscosity_100_of_index,
    viscosity_index,
)

ASTM_D2270_TABLE_1 = [
    *[(2.0, 7.994, 6.394), (2.5, 11.45, 9.063), (3.0, 15.49, 12.15), (3.8, 23.13, 17.97)],
    *[(4.0, 25.32, 19.56), (4.4, 30.48, 22.92), (4.7, 35.13, 25.63), (5.0, 40.23, 28.49)],
    *[(5.7, 52.64, 35.29), (6.4, 65.18, 42.14), (6.8, 73.48, 46.44), (7.0, 78.0, 48.57)],
    *[(7.5, 88.85, 53.98), (8.0, 100.0, 59.6), (8.5, 111.5, 65.32), (9.0, 123.3, 71.1)],
    *[(10.0, 147.7, 82.87), (11.0, 173.9, 95.19), (12.0, 201.9, 108.0), (13.5, 247.4, 128.4)],
    *[(15.0, 296.5, 149.7), (16.5, 350.3, 172.3), (18.0, 408.6, 196.2), (20.0, 493.2, 229.5)],
    *[(22.0, 585.2, 264.9), (25.0, 736.5, 320.9), (28.0, 904.1, 380.6), (34.0, 1286.0, 509.6)],
    *[(40.0, 1730.0, 651.8), (47.0, 2333.0, 835.5), (55.0, 3126.0, 1066.0), (62.0, 3908.0, 1286.0)],
    *[(70.0, 4905.0, 1558.0)],
]
"""ASTM D2270, table 1 (seen in a reproduction): viscosity at 100 °C, L, H, with every join of the computing form."""


@pytest.mark.parametrize(("at_100", "low", "high"), ASTM_D2270_TABLE_1)
def test_the_reference_oils_are_those_of_the_table(at_100: float, low: float, high: float) -> None:
    # the standard's own quadratics stand within 0.12 % of its table over all 337 lines
    assert reference_oils_40_mm2_s(at_100) == pytest.approx((low, high), rel=1.2e-3)


@pytest.mark.parametrize("at_100", [80.0, 150.0])
def test_above_the_table_the_printed_equations_hold(at_100: float) -> None:
    # ASTM D2270, 5.1.3: L = 0.8353Y² + 14.67Y − 216, H = 0.1684Y² + 11.85Y − 97
    low = 0.8353 * at_100**2 + 14.67 * at_100 - 216.0
    high = 0.1684 * at_100**2 + 11.85 * at_100 - 97.0
    assert reference_oils_40_mm2_s(at_100) == pytest.approx((low, high), rel=5e-4)


def test_a_mineral_oil_has_the_index_of_the_standards_first_example() -> None:
    # ASTM D2270, 5.1.4: 73.30 and 8.86 mm²/s: L 119.94, H 69.48, index 92
    assert reference_oils_40_mm2_s(8.86) == pytest.approx((119.94, 69.48), rel=5e-4)
    assert round(viscosity_index(73.30, 8.86)) == 92


def test_a_multigrade_oil_has_the_index_of_the_standards_second_example() -> None:
    # ASTM D2270, 6.1.4: 22.83 and 5.05 mm²/s: H 28.97, index 156
    assert reference_oils_40_mm2_s(5.05)[1] == pytest.approx(28.97, rel=5e-4)
    assert round(viscosity_index(22.83, 5.05)) == 156


def test_oils_of_the_table_have_index_0_and_100() -> None:
    # ASTM D2270, definitions of L and H, at 10 mm²/s
    assert viscosity_index(147.7, 10.0) == pytest.approx(0.0, abs=0.2)
    assert viscosity_index(82.87, 10.0) == pytest.approx(100.0, abs=0.2)


@given(st.floats(-20.0, 300.0), st.floats(12.0, 2000.0))
def test_index_and_viscosity_at_40_give_the_viscosity_at_100_back(index: float, at_40: float) -> None:
    at_100 = viscosity_100_of_index(index, at_40)
    # the quadratics jump by up to 0.18 % where they join (at 7.7 mm²/s), so no closer
    assert viscosity_40_of_index(index, at_100) == pytest.approx(at_40, rel=2e-3)


@given(st.floats(12.0, 2000.0), st.floats(50.0, 200.0), st.floats(5.0, 50.0))
def test_a_higher_index_leaves_the_hot_oil_thicker(at_40: float, index: float, more: float) -> None:
    assert viscosity_100_of_index(index + more, at_40) > viscosity_100_of_index(index, at_40)


def test_an_oil_thinner_than_the_reference_oils_has_no_index() -> None:
    with pytest.raises(ValueError, match="below the 2 mm²/s where ASTM D2270 begins"):
        viscosity_index(4.6, 1.5)
    with pytest.raises(ValueError, match=r"thinner than the 6\.39 mm²/s"):
        viscosity_100_of_index(100.0, 4.6)


def test_an_oil_that_thickens_when_warmed_is_refused() -> None:
    with pytest.raises(ValueError, match="not above"):
        viscosity_index(5.0, 6.0)
