"""A fluid's sheet, complete or not, as numbers with an honest uncertainty."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.oil_properties import OilProperties, oil_properties
from scheduler.engineering.viscosity import viscosity_at
from scheduler.engineering.viscosity_grade import MIDPOINT_40_MM2_S


def _viscosity(oil: OilProperties, temperature_degC: float) -> float:
    return float(viscosity_at(temperature_degC, oil.walther_a, oil.walther_b))


def test_a_complete_sheet_assumes_nothing() -> None:
    oil = oil_properties(46.0, 46, 6.8, None, 875.0)
    assert oil.assumed == ()
    assert oil.log_viscosity_sd == 0.0
    assert oil.density_15_kg_m3 == 875.0
    # our design's check value for 46/6.8 mm²/s (ASTM D341)
    assert _viscosity(oil, 50.0) == pytest.approx(29.97, rel=5e-4)


def test_the_index_stands_in_for_the_viscosity_at_100_degrees() -> None:
    # ASTM D2270, 5.1.4, read backwards: 73.30 mm²/s and index 92 (rounded) are 8.86 mm²/s, within half a point
    oil = oil_properties(73.30, None, None, 92.0, 870.0)
    assert _viscosity(oil, 100.0) == pytest.approx(8.86, rel=5e-3)
    assert oil.assumed == ()


def test_a_fluid_known_by_its_grade_alone_is_widened_by_the_grades_tolerance() -> None:
    # ISO 3448: ±10 %, anywhere within it: a uniform distribution has sd = half width / √3
    oil = oil_properties(None, 46, 6.8, None, 870.0)
    assert oil.viscosity_40_mm2_s == 46.0
    assert oil.log_viscosity_sd == pytest.approx(0.10 / math.sqrt(3.0))
    assert len(oil.assumed) == 1
    assert "ISO VG 46" in oil.assumed[0]


def test_a_missing_index_is_taken_as_100_said_and_paid_for() -> None:
    # common practice, no source: a mineral hydraulic oil has an index of about 100
    known = oil_properties(46.0, None, None, 100.0, 870.0)
    assumed = oil_properties(46.0, None, None, None, 870.0)
    assert assumed.walther_b == known.walther_b
    assert assumed.assumed == ("viscosity index: 100",)
    assert assumed.log_viscosity_sd > known.log_viscosity_sd == 0.0
    assert assumed.viscosity_slope_sd > known.viscosity_slope_sd


def test_the_width_of_an_assumed_index_covers_thirty_points_of_it() -> None:
    assumed = oil_properties(46.0, None, None, None, 870.0)
    higher = oil_properties(46.0, None, None, 130.0, 870.0)
    off = abs(math.log(_viscosity(higher, 60.0) / _viscosity(assumed, 60.0)))
    assert 0.5 * assumed.log_viscosity_sd < off < 1.5 * assumed.log_viscosity_sd


def test_a_missing_density_is_taken_as_870_and_said() -> None:
    oil = oil_properties(46.0, None, 6.8, None, None)
    assert oil.density_15_kg_m3 == 870.0
    assert oil.assumed == ("density at 15 °C: 870 kg/m³",)


@pytest.mark.parametrize("grade", list(MIDPOINT_40_MM2_S))
def test_every_grade_of_the_standard_can_be_computed_with_nothing_else_known(grade: int) -> None:
    oil = oil_properties(None, grade, None, None, None)
    assert len(oil.assumed) == 3
    assert _viscosity(oil, 40.0) == pytest.approx(MIDPOINT_40_MM2_S[grade], rel=0.01)
    assert _viscosity(oil, 100.0) < _viscosity(oil, 40.0)


def test_an_oil_too_thin_for_an_index_is_less_sure_than_one_with_an_assumed_index() -> None:
    spindle_oil = oil_properties(4.6, None, None, None, 850.0)
    ordinary_oil = oil_properties(46.0, None, None, None, 850.0)
    assert spindle_oil.log_viscosity_sd > ordinary_oil.log_viscosity_sd
    assert "too thin for a viscosity index" in spindle_oil.assumed[0]


@given(st.floats(3.0, 1000.0), st.floats(0.0, 250.0))
def test_less_knowledge_never_makes_an_oil_surer(at_40: float, index: float) -> None:
    full = oil_properties(at_40, None, None, index, 870.0)
    less = oil_properties(at_40, None, None, None, None)
    assert less.log_viscosity_sd >= full.log_viscosity_sd
    assert less.viscosity_slope_sd >= full.viscosity_slope_sd
    assert len(less.assumed) > len(full.assumed)


def test_a_fluid_of_which_nothing_is_known_is_refused() -> None:
    with pytest.raises(ValueError, match="viscosity at 40 °C or its ISO viscosity grade"):
        oil_properties(None, None, 6.8, None, None)


def test_a_density_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="density"):
        oil_properties(46.0, None, 6.8, None, 0.0)
