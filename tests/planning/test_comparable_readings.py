"""ΔP readings restated to the warm state, and those that say nothing of what is fitted now."""

import numpy as np
import pytest

from scheduler.engineering.reading_gate import Gate
from scheduler.planning.comparable_readings import ComparableReadings, comparable_readings, instruments
from scheduler.planning.elements import fitted_elements
from scheduler.vocabulary import IndicatorState, Place, Stage
from tests.planning.small_plant import NAN, NOW, STRAINER, Position, Reading, System, plant


def restated(position: Position, system: System | None = None) -> ComparableReadings:
    columns = plant(position, systems=[system or System()])
    return comparable_readings(columns, fitted_elements(columns), instruments(columns))


def warm_temperatures_degC(readings: tuple[Reading, ...]) -> list[float]:
    degC: list[float] = instruments(plant(Position(readings=readings))).warm.oil_temperature_degC.tolist()
    return degC


def gates(*readings: Reading, **position: object) -> list[Gate]:
    where = Position(readings=readings, **position)  # type: ignore[arg-type]
    return [Gate(int(gate)) for gate in restated(where).gate]


def test_a_cold_reading_is_restated_by_the_viscosity_of_the_oil() -> None:
    """ASTM D341 through 46 and 6.8 mm²/s: 133.8 mm²/s at 20 °C, 29.97 at 50 °C (computation, worked example)."""
    warm = [Reading(NOW - day, 0.5) for day in (4.0, 3.0, 2.0)]
    found = restated(Position(readings=(*warm, Reading(NOW, 1.8, oil_temperature_degC=20.0))))
    density_ratio = (1.0 - 7e-4 * 5.0) / (1.0 - 7e-4 * 35.0)
    assert found.reading.element_dp_bar[-1] == pytest.approx(1.8 * 29.97 / 133.8 / density_ratio, rel=2e-3)


def test_two_gauges_give_the_same_as_their_difference() -> None:
    one = restated(Position(readings=(Reading(NOW, 0.8),)))
    two = restated(Position(readings=(Reading(NOW, NAN, upstream_bar=5.3, downstream_bar=4.5),)))
    assert two.reading.element_dp_bar.tolist() == pytest.approx(one.reading.element_dp_bar.tolist())
    assert two.gate.tolist() == one.gate.tolist()


def test_elements_in_parallel_share_the_flow() -> None:
    """Clean ΔP is that of one element at its share of the flow (ISO 3968: laminar, so in proportion)."""
    one, two = (restated(Position(quantity=quantity)).clean_bar[0] for quantity in (1, 2))
    assert two == pytest.approx(0.5 * one)


def test_the_element_is_judged_by_what_the_housing_leaves_of_the_limit() -> None:
    found = restated(Position(terminal_dp_bar=2.5, housing_dp_bar=0.4, readings=(Reading(NOW, 1.4),)))
    assert found.terminal_bar.tolist() == pytest.approx([2.1])
    assert found.reading.element_dp_bar.tolist() == pytest.approx([1.0])


def test_three_quarters_of_the_bypass_setting_is_the_limit_where_none_is_stated() -> None:
    """Common practice, no source (contract: terminal_dp)."""
    assert restated(Position(bypass_dp_bar=3.0)).terminal_bar.tolist() == pytest.approx([2.25])
    assert np.isnan(restated(Position()).terminal_bar[0])


def test_a_bypass_that_must_stay_shut_at_start_lowers_the_limit_and_no_other_does() -> None:
    """ν(20 °C) = 133.8, ν(50 °C) = 29.97 mm²/s (ASTM D341, worked example)."""
    system = System(coldest_start_degC=20.0)
    shut, free = (
        restated(Position(terminal_dp_bar=2.5, shut_at_start=shut), system).terminal_bar[0] for shut in (True, False)
    )
    assert free == pytest.approx(2.5)
    assert shut == pytest.approx(2.5 * 29.97 / 133.8, rel=2e-3)


def test_what_even_a_clean_element_cannot_do_on_a_cold_start_is_not_asked_of_it() -> None:
    """At 0 °C the oil is 19 times as viscous as at 50 °C: 0.30 bar clean and warm are more than 5 bar then."""
    system = System(coldest_start_degC=0.0)
    assert restated(Position(terminal_dp_bar=2.5, shut_at_start=True), system).terminal_bar[0] == pytest.approx(2.5)


def test_without_a_coldest_start_nothing_is_lowered() -> None:
    assert restated(Position(terminal_dp_bar=2.5, shut_at_start=True)).terminal_bar[0] == pytest.approx(2.5)


def test_the_warm_state_is_the_positions_own_once_it_was_read_often_enough() -> None:
    readings = tuple(Reading(NOW - day, 0.5, oil_temperature_degC=38.0) for day in range(8))
    assert warm_temperatures_degC(readings) == [38.0]


@pytest.mark.parametrize("starts", [1, 2])
def test_a_cold_start_or_two_are_not_taken_for_the_warm_state(starts: int) -> None:
    readings = tuple(Reading(NOW - day, 3.2, oil_temperature_degC=10.0) for day in range(starts))
    assert warm_temperatures_degC(readings) == [50.0]
    assert set(restated(Position(readings=readings)).gate.tolist()) == {int(Gate.COLD)}


def test_readings_of_the_element_before_do_not_count() -> None:
    fitted = NOW - 10.0
    found = gates(
        Reading(fitted - 0.4, 2.4), Reading(fitted - 0.2, 2.4), Reading(fitted + 0.2, 0.4), fitted_day=fitted
    )
    assert found == [Gate.CHANGE_DAY, Gate.CHANGE_DAY, Gate.USABLE]


def test_an_indicator_seen_tripped_on_the_element_before_is_gated_too() -> None:
    fitted = NOW - 10.0
    trip = Reading(fitted - 0.4, NAN, indicator=IndicatorState.TRIPPED)
    assert gates(trip, fitted_day=fitted) == [Gate.CHANGE_DAY]


@pytest.mark.parametrize(
    ("stage", "expected"),
    [(None, Gate.CHANGE_DAY), (Stage.BEFORE, Gate.CHANGE_DAY), (Stage.AFTER, Gate.USABLE)],
)
@pytest.mark.parametrize("at_h", [8.0, 16.0])
def test_a_date_only_reading_of_the_change_day_counts_only_as_after(
    stage: Stage | None, expected: Gate, at_h: float
) -> None:
    """It stands at noon, the change at eight or at four: which came first nobody can tell (contract: Time)."""
    day = NOW - 10.0
    noon = Reading(day + 0.5, 0.5, stage=stage, is_date=True)
    assert gates(noon, fitted_day=day + at_h / 24.0) == [expected]


@pytest.mark.parametrize(
    ("stage", "expected"),
    [(None, Gate.CHANGE_DAY), (Stage.BEFORE, Gate.CHANGE_DAY), (Stage.AFTER, Gate.USABLE)],
)
def test_of_a_change_known_by_its_date_only_the_days_readings_count_only_as_after(
    stage: Stage | None, expected: Gate
) -> None:
    day = NOW - 10.0
    for hour in (7.0, 17.0):
        timed = Reading(day + hour / 24.0, 0.5, stage=stage)
        assert gates(timed, fitted_day=day + 0.5, fitted_is_date=True) == [expected]


def test_a_date_only_reading_of_the_day_after_counts() -> None:
    assert gates(Reading(NOW - 8.5, 0.5, is_date=True), fitted_day=NOW - 9.5, fitted_is_date=True) == [Gate.USABLE]


def test_a_reading_of_the_old_element_noted_a_minute_after_the_change_stays_with_it() -> None:
    found = gates(Reading(NOW - 10.0 + 1.0 / 1440.0, 2.4, stage=Stage.BEFORE), fitted_day=NOW - 10.0)
    assert found == [Gate.CHANGE_DAY]


def strainer(*readings: Reading, **more: object) -> Position:
    given: dict[str, object] = {"place": Place.SUCTION, "part": STRAINER, "fitted": STRAINER, "readings": readings}
    return Position(**(given | more))  # type: ignore[arg-type]


def vacuum(day: float, bar: float, **more: object) -> Reading:
    return Reading(day, NAN, vacuum_bar=bar, **more)  # type: ignore[arg-type]


CLEAN_VACUUM = tuple(vacuum(NOW - day, 0.10) for day in (90.0, 80.0, 70.0))


def test_a_strainer_is_judged_by_the_rise_of_its_vacuum_above_clean() -> None:
    """Up to about 0.34 bar (10 inHg) at the pump inlet, general practice; the pump maker's sheet governs."""
    found = restated(strainer(*CLEAN_VACUUM, vacuum(NOW, 0.22)))
    clean = found.clean_bar[0]
    assert found.reading.element_dp_bar[-1] - clean == pytest.approx(0.12, abs=1e-6)
    assert found.terminal_bar[0] - clean == pytest.approx(0.34 - 0.10)
    with_limit = restated(strainer(*CLEAN_VACUUM, vacuum_limit_bar=0.20))
    assert with_limit.terminal_bar[0] - with_limit.clean_bar[0] == pytest.approx(0.10)


@pytest.mark.parametrize(
    "stray",
    [
        vacuum(NOW - 100.4, 0.33),  # of the strainer before
        vacuum(NOW - 99.0, 0.30, oil_temperature_degC=10.0),
        vacuum(NOW - 99.0, 0.0, flow_lpm=0.0),
    ],
)
def test_the_clean_vacuum_is_that_of_this_strainer_with_warm_flowing_oil(stray: Reading) -> None:
    expected = restated(strainer(vacuum(NOW - 90.0, 0.10)))
    found = restated(strainer(stray, vacuum(NOW - 90.0, 0.10)))
    assert found.terminal_bar.tolist() == pytest.approx(expected.terminal_bar.tolist(), rel=1e-9)


def test_a_strainer_whose_clean_vacuum_is_at_the_limit_cannot_be_judged_by_it() -> None:
    assert np.isnan(restated(strainer(vacuum(NOW - 90.0, 0.36))).terminal_bar[0])
