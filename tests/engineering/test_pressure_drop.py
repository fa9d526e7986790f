"""Readings taken at different flows and temperatures, made comparable."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.pressure_drop import (
    NormalisedDp,
    WarmState,
    clean_element_dp_bar,
    normalised_dp,
    started_log,
    started_log_variance,
    started_shift_bar,
)
from scheduler.engineering.viscosity import density_at, viscosity_at, walther_constants

A, B = walther_constants(46.0, 6.8)


def _warm(flow_lpm: float = 100.0, housing_dp_bar: float = 0.1) -> WarmState:
    columns = (flow_lpm, 50.0, housing_dp_bar, A, B, 870.0, 0.10)
    return WarmState(*(np.array(value) for value in columns))


def _assembly_dp_bar(element_bar: float, flow_lpm: float, temperature_degC: float) -> float:
    """What a gauge shows on an element of `element_bar` at 100 L/min and 50 °C: ISO 3968's two parts, by hand."""
    viscosity = viscosity_at([temperature_degC, 50.0], A, B)
    density = density_at([temperature_degC, 50.0], 870.0)
    laminar = element_bar * (viscosity[0] / viscosity[1]) * (density[0] / density[1]) * flow_lpm / 100.0
    turbulent = 0.1 * (density[0] / density[1]) * (flow_lpm / 100.0) ** 2
    return float(laminar + turbulent)


@given(st.floats(0.05, 5.0), st.floats(5.0, 250.0), st.floats(-10.0, 90.0))
def test_one_element_reads_the_same_whatever_the_flow_and_the_oil_temperature(
    element_bar: float, flow_lpm: float, temperature_degC: float
) -> None:
    dp_bar = _assembly_dp_bar(element_bar, flow_lpm, temperature_degC)
    assert normalised_dp(dp_bar, flow_lpm, temperature_degC, _warm()).element_dp_bar == pytest.approx(element_bar)


def test_a_reading_at_the_warm_state_only_loses_the_housings_part() -> None:
    reading = normalised_dp(1.3, 100.0, 50.0, _warm())
    assert float(reading.element_dp_bar) == pytest.approx(1.2)
    assert float(reading.restating_factor) == pytest.approx(1.0)


def test_a_cold_start_reading_is_mostly_cold_oil() -> None:
    # 46/6.8 mm²/s: 577.3 at 0 °C against 29.97 at 50 °C (ASTM D341 check values); density 1.0505/… by 7e-4/K:
    # (1 + 0.0105)/(1 − 0.0245) = 1.0359. 4.0 bar is 0.1·1.0359 housing and 3.8964/(19.263·1.0359) element.
    reading = normalised_dp(4.0, 100.0, 0.0, _warm())
    assert float(reading.element_dp_bar) == pytest.approx(3.8964 / (577.3 / 29.97 * 1.0359), rel=1e-3)


@given(st.floats(0.0, 10.0), st.floats(0.0, 5.0), st.floats(10.0, 200.0), st.floats(-20.0, 100.0))
def test_a_higher_dp_never_normalises_lower(
    dp_bar: float, more_bar: float, flow_lpm: float, temperature_degC: float
) -> None:
    reading = normalised_dp([dp_bar, dp_bar + more_bar], flow_lpm, temperature_degC, _warm())
    assert reading.element_dp_bar[1] >= reading.element_dp_bar[0]


@given(st.floats(0.0, 10.0), st.floats(-20.0, 90.0), st.floats(0.1, 20.0))
def test_the_same_dp_through_colder_oil_is_never_a_dirtier_element(
    dp_bar: float, temperature_degC: float, colder_K: float
) -> None:
    temperatures_degC = [temperature_degC, temperature_degC - colder_K]
    reading = normalised_dp(dp_bar + 2.0, 100.0, temperatures_degC, _warm())
    assert reading.element_dp_bar[1] <= reading.element_dp_bar[0]


def test_missing_flow_and_temperature_are_the_positions_medians_with_less_trust() -> None:
    known = normalised_dp(1.3, 100.0, 50.0, _warm())
    missing = normalised_dp(1.3, np.nan, np.nan, _warm())
    assert missing.element_dp_bar == pytest.approx(known.element_dp_bar)
    assert float(known.flow_sd) == 0.03  # our design, section 1: 3 % and 2 K
    assert float(missing.flow_sd) == 0.20  # our design, section 1: 20 % and 7 K
    assert float(missing.viscosity_sd / known.viscosity_sd) == pytest.approx(7.0 / 2.0)


def test_a_position_without_any_flow_is_compared_at_one_flow() -> None:
    reading = normalised_dp([1.3, 1.3], [np.nan, 80.0], 50.0, _warm(flow_lpm=np.nan))
    assert reading.element_dp_bar == pytest.approx([1.2, 1.2])
    assert reading.flow_sd.tolist() == [0.20, 0.20]


def test_an_unknown_housing_leaves_the_assembly_whole_and_widens_cold_readings() -> None:
    whole = normalised_dp(2.0, 100.0, [50.0, 20.0], _warm(housing_dp_bar=np.nan))
    split = normalised_dp(2.0, 100.0, [50.0, 20.0], _warm())
    assert float(whole.element_dp_bar[0]) == pytest.approx(2.0)
    assert whole.viscosity_sd[0] == pytest.approx(split.viscosity_sd[0])
    assert whole.viscosity_sd[1] > 1.3 * split.viscosity_sd[1]


def test_a_standing_machine_says_nothing_about_its_element() -> None:
    for usual_flow_lpm in (100.0, np.nan):
        reading = normalised_dp([0.0, 0.4], 0.0, 20.0, _warm(flow_lpm=usual_flow_lpm))
        assert np.isnan(reading.element_dp_bar).all()


def test_readings_take_the_state_of_their_own_position() -> None:
    plant = WarmState(
        flow_lpm=np.array([100.0, 40.0]),
        oil_temperature_degC=np.array([50.0, 50.0]),
        housing_dp_bar=np.array([0.1, 0.3]),
        walther_a=np.array([A, A]),
        walther_b=np.array([B, B]),
        density_15_kg_m3=np.array([870.0, 870.0]),
        viscosity_slope_sd=np.array([0.1, 0.1]),
    )
    reading = normalised_dp([1.0, 1.0, 1.0], np.nan, np.nan, plant.of_readings(np.array([1, 0, 1])))
    assert reading.element_dp_bar == pytest.approx([0.7, 0.9, 0.7])


def test_the_variance_is_the_designs_formula_term_by_term() -> None:
    # our design, section 1, second evaluation, point 1, at 20 °C through 46/6.8 mm²/s, housing 0.1 bar, step 0.1 bar
    reading = normalised_dp(2.0, 100.0, 20.0, _warm())
    x, step, shift = 0.6, 0.1, 0.03
    viscosity = viscosity_at([20.0, 50.0], A, B)
    density = density_at([20.0, 50.0], 870.0)
    restating = (viscosity[1] * density[1]) / (viscosity[0] * density[0])
    housing = 0.1 * density[0] / density[1] * restating
    slope = (math.log(viscosity_at(20.05, A, B)) - math.log(viscosity_at(19.95, A, B))) / 0.1
    by_hand = (
        (step * restating) ** 2 / 12.0
        + (0.04 * (x + housing)) ** 2
        + (0.03 * x) ** 2
        + (0.03 * (x + 2.0 * housing)) ** 2
        + (2.0 * slope * x) ** 2
        + (0.10 * math.log(viscosity[0] / viscosity[1]) * x) ** 2
    ) / (x + shift) ** 2
    assert float(started_log_variance(x, reading, step, shift)) == pytest.approx(by_hand, rel=1e-4)


def test_the_variance_agrees_with_readings_drawn_at_random() -> None:
    # ISO/IEC Guide 98-3/Suppl. 1 (propagation of distributions by Monte Carlo): gauge 4 % and rounding to 0.1 bar,
    # flow 3 %, temperature 2 K, law 3 %; first order holds within a few per cent at this size
    random = np.random.default_rng(7)
    draws = 40_000
    true_dp = _assembly_dp_bar(1.0, 80.0, 50.0)
    shown = true_dp * (1.0 + 0.04 * random.standard_normal(draws)) + random.uniform(-0.05, 0.05, draws)
    flow = 80.0 * (1.0 + 0.03 * random.standard_normal(draws))
    temperature = 50.0 + 2.0 * random.standard_normal(draws)
    drawn = normalised_dp(shown, flow, temperature, _warm()).element_dp_bar
    logs = started_log(drawn * (1.0 + 0.03 * random.standard_normal(draws)), 0.03)
    stated = started_log_variance(1.0, normalised_dp(true_dp, 80.0, 50.0, _warm()), 0.1, 0.03)
    assert float(np.var(logs)) == pytest.approx(float(stated), rel=0.08)


@given(st.floats(0.0, 5.0), st.floats(0.001, 0.2))
def test_a_reading_of_nothing_has_a_finite_log_and_a_wide_one(dp_bar: float, step_bar: float) -> None:
    shift_bar = started_shift_bar(step_bar)
    reading: NormalisedDp = normalised_dp(dp_bar, 100.0, 50.0, _warm())
    variance = started_log_variance([0.0, dp_bar + step_bar], reading, step_bar, shift_bar)
    assert np.isfinite(started_log(reading.element_dp_bar, shift_bar))
    assert np.isfinite(variance).all()
    assert variance[0] > 0.5


def test_an_unknown_reading_stays_unknown() -> None:
    assert np.isnan(started_log(np.nan, 0.03))


def test_a_logarithm_without_a_start_is_refused() -> None:
    with pytest.raises(ValueError, match="not above 0"):
        started_log(1.0, 0.0)


def test_a_clean_element_is_restated_in_proportion_to_flow_viscosity_and_density() -> None:
    # Makers' sheets: element ΔP ∝ density × kinematic viscosity × flow; 0.3 bar at 100 L/min, 30 mm²/s, 860 kg/m³.
    # 150 L/min of 46 mm²/s at 843 kg/m³: 0.3 · 1.5 · 46/30 · 843/860 = 0.67636
    clean = clean_element_dp_bar(0.3, 100.0, 30.0, flow_lpm=150.0, viscosity_mm2_s=46.0, density_kg_m3=843.0)
    assert float(clean) == pytest.approx(0.67636, rel=1e-4)


def test_two_elements_in_parallel_share_the_flow() -> None:
    state = {"flow_lpm": 200.0, "viscosity_mm2_s": 30.0, "density_kg_m3": 860.0}
    assert float(clean_element_dp_bar(0.3, 100.0, 30.0, **state)) == pytest.approx(0.6)
    assert float(clean_element_dp_bar(0.3, 100.0, 30.0, **state, elements_in_parallel=2)) == pytest.approx(0.3)


def test_a_clean_dp_without_its_rated_flow_is_unknown() -> None:
    clean = clean_element_dp_bar(0.3, np.nan, 30.0, flow_lpm=100.0, viscosity_mm2_s=30.0, density_kg_m3=860.0)
    assert np.isnan(clean)
