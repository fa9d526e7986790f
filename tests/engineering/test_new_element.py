"""What a new element should show, and what a reading taken after the change says of it."""

import dataclasses
from itertools import pairwise

import pytest

from scheduler.engineering.new_element import (
    GAUGE_ALLOWANCE_BAR,
    LEAST_OF_NOMINAL,
    MOST_OF_NOMINAL,
    CARD_TEMPERATURES_degC,
    ExpectedDp,
    Fit,
    NewElement,
    element_dp_bar,
    expected_dp,
    judged,
)
from scheduler.engineering.viscosity import viscosity_at, walther_constants

A, B = walther_constants(46.0, 6.8)
RETURN = NewElement(
    clean_dp_bar=0.30,
    rated_flow_lpm=100.0,
    rated_viscosity_mm2_s=30.0,
    flow_lpm=80.0,
    housing_dp_bar=0.16,
    warm_degC=50.0,
    walther_a=A,
    walther_b=B,
    density_15_kg_m3=870.0,
)
CARD = expected_dp(RETURN)


def test_a_return_element_shows_what_a_calculation_by_hand_gives() -> None:
    # By hand, with the makers' published rule of calculation (element: stated ΔP × Q/Q_rated × ν/ν_rated × ρ/0.86;
    # housing as stated at its flow), oil 46/6.8 mm²/s at 50 °C: ν = 30.0 mm²/s (ASTM D341 chart, two points),
    # ρ = 870 × (1 − 0.0007 × 35) = 848.7 kg/m³.
    # element 0.30 × 0.80 × 1.00 × 0.987 = 0.237 bar, housing 0.16 bar, together 0.397 bar.
    (row,) = expected_dp(RETURN, [50.0])
    assert row.low_bar == pytest.approx(0.6 * 0.397 - 0.05, abs=0.003)
    assert row.high_bar == pytest.approx(1.5 * 0.397 + 0.05, abs=0.005)


def test_the_element_goes_with_viscosity_and_flow_and_the_housing_with_the_square_of_the_flow() -> None:
    # laminar flow in the media (Darcy), turbulent flow in the housing; ISO 3968 measures both
    no_housing = dataclasses.replace(RETURN, housing_dp_bar=0.0)
    cold, warm = element_dp_bar(no_housing, [20.0, 50.0])
    thicker = float(viscosity_at(20.0, A, B) / viscosity_at(50.0, A, B))
    denser = (1.0 - 0.0007 * 5.0) / (1.0 - 0.0007 * 35.0)
    assert cold / warm == pytest.approx(thicker * denser)
    halved = dataclasses.replace(no_housing, flow_lpm=40.0)
    assert float(element_dp_bar(halved, 50.0)) == pytest.approx(0.5 * warm)
    shared = dataclasses.replace(no_housing, in_parallel=2)
    assert float(element_dp_bar(shared, 50.0)) == pytest.approx(0.5 * warm)
    # the housing alone: hardly anything of it goes with the temperature
    housing = dataclasses.replace(RETURN, clean_dp_bar=1e-9)
    at_20, at_50 = expected_dp(housing, [20.0, 50.0])
    assert at_20.high_bar == pytest.approx(at_50.high_bar, rel=0.03)


def test_colder_oil_has_a_higher_range_and_the_nominal_lies_in_each() -> None:
    assert [row.oil_temperature_degC for row in CARD] == list(CARD_TEMPERATURES_degC)
    for colder, warmer in pairwise(CARD):
        assert colder.low_bar > warmer.low_bar
        assert colder.high_bar > warmer.high_bar
    for row in CARD:
        nominal_bar = float(element_dp_bar(RETURN, row.oil_temperature_degC)) + RETURN.housing_dp_bar
        assert row.low_bar < nominal_bar < row.high_bar


def test_the_working_temperature_stands_among_the_rows_once_and_in_order() -> None:
    told = [row.oil_temperature_degC for row in expected_dp(RETURN, (*CARD_TEMPERATURES_degC, 46.0, 50.0))]
    assert told == [20.0, 30.0, 40.0, 46.0, 50.0, 60.0]


@pytest.mark.parametrize("member", ["clean_dp_bar", "rated_flow_lpm", "rated_viscosity_mm2_s", "flow_lpm"])
def test_without_a_number_of_the_catalogue_or_the_flow_nothing_is_expected(member: str) -> None:
    assert expected_dp(dataclasses.replace(RETURN, **{member: float("nan")})) == ()


def test_a_housing_of_which_nothing_is_known_widens_the_range_on_both_sides() -> None:
    unknown = expected_dp(dataclasses.replace(RETURN, housing_dp_bar=float("nan")), [50.0])[0]
    none_at_all = expected_dp(dataclasses.replace(RETURN, housing_dp_bar=0.0), [50.0])[0]
    element_bar = float(element_dp_bar(RETURN, 50.0))
    assert unknown.low_bar == none_at_all.low_bar
    assert unknown.high_bar == pytest.approx(MOST_OF_NOMINAL * 1.25 * element_bar + GAUGE_ALLOWANCE_BAR, abs=0.001)


def test_a_hardly_loaded_element_may_show_nothing_on_a_coarse_gauge() -> None:
    wide = dataclasses.replace(RETURN, flow_lpm=10.0, housing_dp_bar=0.0)
    assert expected_dp(wide, [50.0])[0].low_bar == 0.0
    assert judged(0.0, 50.0, None, expected_dp(wide), None).fit is Fit.AS_EXPECTED


def test_a_temperature_outside_the_viscosity_law_is_refused() -> None:
    with pytest.raises(ValueError, match="300"):
        expected_dp(RETURN, [300.0])


@pytest.mark.parametrize(
    ("dp_bar", "fit", "words"),
    [
        (0.40, Fit.AS_EXPECTED, "is within the 0.19 to 0.65 bar"),
        (0.05, Fit.TOO_LOW, "not seated, a missing seal, a wrong element or an open bypass"),
        (0.00, Fit.TOO_LOW, "ΔP 0 bar with oil at 50 °C is less than"),
        (1.20, Fit.TOO_HIGH, "a wrong element, colder oil or more flow than told, or dirt"),
    ],
)
def test_a_reading_is_judged_in_one_sentence_with_numbers(dp_bar: float, fit: Fit, words: str) -> None:
    verdict = judged(dp_bar, 50.0, None, CARD, RETURN.flow_lpm)
    assert verdict.fit is fit
    assert words in verdict.says
    assert verdict.says.count(". ") == 0
    assert verdict.says.endswith(".")


def test_the_same_reading_is_right_with_cold_oil_and_too_high_with_warm() -> None:
    assert judged(1.2, 22.0, None, CARD, None).fit is Fit.AS_EXPECTED
    assert judged(1.2, 55.0, None, CARD, None).fit is Fit.TOO_HIGH


@pytest.mark.parametrize("oil_temperature_degC", [23.0, 35.0, 47.0, 58.0])
def test_between_two_rows_the_card_alone_says_what_the_viscosity_law_says(oil_temperature_degC: float) -> None:
    (exact,) = expected_dp(RETURN, [oil_temperature_degC])
    for factor, fit in ((1.03, Fit.TOO_HIGH), (0.97, Fit.AS_EXPECTED)):
        assert judged(factor * exact.high_bar, oil_temperature_degC, None, CARD, None).fit is fit
    for factor, fit in ((0.95, Fit.TOO_LOW), (1.05, Fit.AS_EXPECTED)):
        assert judged(factor * exact.low_bar, oil_temperature_degC, None, CARD, None).fit is fit


@pytest.mark.parametrize("oil_temperature_degC", [12.0, 75.0])
def test_oil_colder_or_hotter_than_the_card_is_not_judged(oil_temperature_degC: float) -> None:
    verdict = judged(0.4, oil_temperature_degC, None, CARD, None)
    assert verdict.fit is Fit.NOT_JUDGED
    assert f"{oil_temperature_degC:g} °C" in verdict.says
    assert "20 to 60 °C" in verdict.says


def test_without_rows_nothing_is_judged() -> None:
    assert judged(0.4, 50.0, None, (), None).fit is Fit.NOT_JUDGED
    assert judged(0.4, 50.0, None, [ExpectedDp(50.0, 0.2, 0.6)], None).fit is Fit.AS_EXPECTED


@pytest.mark.parametrize("flow_lpm", [30.0, 50.0, 110.0])
def test_at_another_flow_the_range_of_the_card_holds_what_the_physics_gives_there(flow_lpm: float) -> None:
    # the housing goes with the square of the flow: 0.16 bar at 80 L/min
    there = dataclasses.replace(RETURN, flow_lpm=flow_lpm)
    nominal_bar = float(element_dp_bar(there, 50.0)) + 0.16 * (flow_lpm / 80.0) ** 2
    for dp_bar in (nominal_bar, 1.01 * LEAST_OF_NOMINAL * nominal_bar, 0.99 * MOST_OF_NOMINAL * nominal_bar):
        verdict = judged(dp_bar, 50.0, flow_lpm, CARD, RETURN.flow_lpm)
        assert verdict.fit is Fit.AS_EXPECTED, verdict.says
        assert f"{flow_lpm:g} L/min" in verdict.says


def test_twice_the_flow_is_no_excuse_for_any_reading() -> None:
    assert judged(0.1, 50.0, 160.0, CARD, 80.0).fit is Fit.TOO_LOW
    assert judged(3.0, 50.0, 160.0, CARD, 80.0).fit is Fit.TOO_HIGH
    assert judged(0.6, 50.0, 20.0, CARD, 80.0).fit is Fit.TOO_HIGH


@pytest.mark.parametrize(
    ("reading", "named"),
    [
        ((float("nan"), 50.0, None, 80.0), "ΔP nan"),
        ((0.4, float("inf"), None, 80.0), "oil temperature inf"),
        ((0.4, 50.0, 0.0, 80.0), "flow 0.0 L/min"),
        ((0.4, 50.0, 70.0, -1.0), "usual flow -1.0 L/min"),
    ],
)
def test_what_no_gauge_shows_is_refused_with_its_value(
    reading: tuple[float, float, float | None, float], named: str
) -> None:
    dp_bar, oil_temperature_degC, flow_lpm, usual_flow_lpm = reading
    with pytest.raises(ValueError, match=named):
        judged(dp_bar, oil_temperature_degC, flow_lpm, CARD, usual_flow_lpm)
