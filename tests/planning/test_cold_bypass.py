"""A bypass that opens with cold oil only, and what looks like it.

Oil of small_plant: 577.3, 133.8 and 29.97 mm²/s at 0, 20 and 50 °C (ASTM D341): 19 and 4.5 times.
"""

import pytest

from scheduler.planning.cold_bypass import cold_bypasses
from scheduler.planning.condition import assess_condition
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import assess_duty
from scheduler.planning.indicator import sightings_of
from scheduler.vocabulary import IndicatorState, Severity, Status
from tests.planning.small_plant import NAN, NOW, Position, Reading, life_of, plant, prior_of_life

WARM = tuple(Reading(NOW - 90.0 + 10.0 * step, 0.5) for step in range(9))


def said(*readings: Reading, bypass_dp_bar: float = 3.0, **more: object) -> dict[str, Diagnosis]:
    position = Position(
        readings=tuple(sorted(readings, key=lambda each: each.day)),
        bypass_dp_bar=bypass_dp_bar,
        terminal_dp_bar=2.2,
        fitted_day=NOW - 100.0,
        **more,  # type: ignore[arg-type]
    )
    columns = plant(position)
    condition = assess_condition(columns, assess_duty(columns), prior_of_life(columns, life_of(2500.0)))
    return {each.code: each for each in cold_bypasses(columns, condition, sightings_of(columns, condition))}


def cold(dp_bar: float, day: float = NOW - 12.0, degC: float = 10.0) -> Reading:
    return Reading(day, dp_bar, oil_temperature_degC=degC)


def test_cold_starts_at_the_bypass_setting_with_a_low_warm_dp_are_told_as_cold_oil() -> None:
    found = said(*WARM, cold(3.05), cold(3.1, NOW - 20.0, 5.0))["bypass-opens-when-cold-only"]
    assert (found.severity, found.asks_for, found.since_day) == (Severity.NOTE, None, NOW - 12.0)
    numbers = found.numbers
    assert (numbers["readings"], numbers["coldest_degC"], numbers["warmest_degC"]) == (2, 5.0, 10.0)
    # 0.95 of 3.0 bar is 5.7 times the 0.5 bar at 29.97 mm²/s: 171 mm²/s, which this oil has at 16 °C (D341)
    assert numbers["shut_from_degC"] == pytest.approx(16.0, abs=1.0)


def test_one_cold_start_is_enough_where_the_warm_dp_foretells_it() -> None:
    """0.5 bar warm is about 4.5 bar at 10 °C."""
    assert "bypass-opens-when-cold-only" in said(*WARM, cold(3.05))


def test_a_cold_reading_that_the_warm_dp_does_not_foretell_is_a_slip() -> None:
    """0.5 bar warm is 1.7 bar at 25 °C (ν about 102 mm²/s): a note of 3.1 is none of the oil's."""
    assert said(*WARM, cold(3.1, degC=25.0)) == {}


def test_a_reading_far_above_the_setting_may_be_a_slip_and_needs_a_second() -> None:
    assert said(*WARM, cold(9.0)) == {}
    assert said(*WARM, cold(9.0), cold(9.0, NOW - 20.0)) != {}


def test_without_a_warm_look_nothing_is_known_of_the_element() -> None:
    assert said(cold(3.05), cold(3.1, NOW - 20.0)) == {}


def test_a_bypass_that_stands_open_with_warm_oil_is_no_cold_start() -> None:
    assert said(*WARM, Reading(NOW - 3.0, 3.05), cold(3.05), cold(3.1, NOW - 20.0)) == {}


def test_a_cold_start_that_stays_below_the_setting_says_nothing() -> None:
    assert said(*WARM, cold(2.2, degC=20.0)) == {}


def test_a_cold_start_of_last_season_is_forgotten() -> None:
    assert said(*WARM, cold(3.05, NOW - 70.0), cold(3.1, NOW - 75.0)) == {}


def tripped(degC: float) -> Reading:
    return Reading(NOW - 4.0, NAN, NAN, degC, IndicatorState.TRIPPED)


def test_an_indicator_that_trips_with_cold_oil_alone_is_told_as_that() -> None:
    found = said(*WARM, tripped(5.0))["indicator-trips-when-cold-only"]
    assert (found.severity, found.asks_for, found.numbers["indicator_trips"]) == (Severity.NOTE, None, 1)


@pytest.mark.parametrize("degC", [NAN, 50.0])
def test_a_trip_that_may_have_been_warm_is_none_of_the_cold(degC: float) -> None:
    """`trip-unconfirmed` and the due date speak of it."""
    assert said(*WARM, cold(3.05), cold(3.1, NOW - 20.0), tripped(degC)) == {}


def test_a_filter_out_of_service_is_left_alone() -> None:
    assert said(*WARM, cold(3.05), status=Status.RETIRED) == {}
