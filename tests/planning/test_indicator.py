"""A tripped indicator: certain when warm, a question when nobody noted the temperature, a cold start when cold."""

from dataclasses import replace

import pytest

from scheduler.planning.indicator import Meaning, Sighting
from scheduler.vocabulary import IndicatorState, Stage
from tests.planning.small_plant import NAN, NOW, Position, Reading, assess, plant

TRIPPED, CLEAR, RESET = IndicatorState.TRIPPED, IndicatorState.CLEAR, IndicatorState.RESET


def seen(day: float, state: IndicatorState = TRIPPED, oil_temperature_degC: float = NAN, **more: object) -> Reading:
    return Reading(day, NAN, NAN, oil_temperature_degC, state, **more)  # type: ignore[arg-type]


def sighting_of(*readings: Reading, **position: object) -> Sighting | None:
    return assess(plant(Position(readings=readings, **position))).sightings.get(0)  # type: ignore[arg-type]


def meaning_of(*readings: Reading) -> Meaning | None:
    found = sighting_of(*readings)
    return None if found is None else found.meaning


def test_a_trip_with_warm_oil_is_certain() -> None:
    assert meaning_of(seen(NOW - 1.0, oil_temperature_degC=48.0)) is Meaning.CERTAIN


def test_a_trip_of_unknown_temperature_asks_for_a_second_look() -> None:
    assert meaning_of(seen(NOW - 1.0)) is Meaning.UNCONFIRMED


def test_a_second_sighting_counts_as_warm() -> None:
    found = sighting_of(seen(NOW - 1.0), seen(NOW - 0.5))
    assert found is not None
    assert found.meaning is Meaning.CERTAIN
    assert (found.first_day, found.last_day, found.times) == (NOW - 1.0, NOW - 0.5, 2)


@pytest.mark.parametrize("times", [1, 3])
def test_a_trip_with_cold_oil_is_kept_and_proves_nothing(times: int) -> None:
    """At 15 °C the oil is over five times as viscous as at 50 °C (ASTM D341), and so is the element's ΔP."""
    cold = [seen(NOW - day, oil_temperature_degC=15.0) for day in range(times)]
    found = sighting_of(*cold)
    assert found is not None
    assert found.meaning is Meaning.COLD
    assert found.oil_temperature_degC == 15.0


def test_a_cold_trip_and_one_of_unknown_temperature_are_not_two_warm_ones() -> None:
    assert meaning_of(seen(NOW - 2.0, oil_temperature_degC=10.0), seen(NOW - 1.0)) is Meaning.UNCONFIRMED


def test_a_warm_trip_stays_certain_after_a_cold_one() -> None:
    assert meaning_of(seen(NOW - 2.0, oil_temperature_degC=50.0), seen(NOW, oil_temperature_degC=5.0)) is (
        Meaning.CERTAIN
    )


@pytest.mark.parametrize("state", [RESET, CLEAR])
def test_what_was_seen_before_the_last_reset_counts_no_more(state: IndicatorState) -> None:
    warm = seen(NOW - 3.0, oil_temperature_degC=50.0)
    assert meaning_of(warm, seen(NOW - 2.0, state)) is None
    assert meaning_of(warm, seen(NOW - 2.0, state), seen(NOW - 1.0)) is Meaning.UNCONFIRMED


def test_a_reading_without_an_indicator_clears_nothing() -> None:
    assert meaning_of(seen(NOW - 3.0, oil_temperature_degC=50.0), Reading(NOW, 0.4)) is Meaning.CERTAIN


def test_a_clear_indicator_of_a_standing_machine_clears_nothing() -> None:
    """Without flow there is no ΔP to trip it: a standing machine says nothing of its element."""
    warm = seen(NOW - 3.0, oil_temperature_degC=50.0)
    standing = replace(seen(NOW - 2.0, CLEAR), flow_lpm=0.0)
    assert meaning_of(warm, standing) is Meaning.CERTAIN


def test_a_reset_is_believed_though_the_machine_stands() -> None:
    warm = seen(NOW - 3.0, oil_temperature_degC=50.0)
    assert meaning_of(warm, replace(seen(NOW - 2.0, RESET), flow_lpm=0.0)) is None


def test_the_trip_of_the_element_before_is_gone_with_it() -> None:
    fitted = NOW - 5.0
    assert sighting_of(seen(fitted - 0.5, oil_temperature_degC=50.0), fitted_day=fitted) is None


@pytest.mark.parametrize(("stage", "stands"), [(None, False), (Stage.BEFORE, False), (Stage.AFTER, True)])
def test_a_date_only_trip_of_the_change_day_belongs_to_the_new_element_only_if_said_so(
    stage: Stage | None, stands: bool
) -> None:
    trip = seen(NOW - 5.0, oil_temperature_degC=50.0, stage=stage, is_date=True)
    assert (sighting_of(trip, fitted_day=NOW - 5.1) is not None) is stands


def test_a_trip_with_a_pressure_beside_it_is_the_same_sighting() -> None:
    assert meaning_of(Reading(NOW - 1.0, 2.1, indicator=TRIPPED)) is Meaning.CERTAIN


def test_a_set_point_far_below_the_limit_warns_early_and_condemns_nothing() -> None:
    warm = seen(NOW - 1.0, oil_temperature_degC=48.0)
    early = sighting_of(warm, indicator_dp_bar=2.0, terminal_dp_bar=5.0, bypass_dp_bar=7.0)
    near = sighting_of(warm, indicator_dp_bar=2.2, terminal_dp_bar=2.5, bypass_dp_bar=3.0)
    assert early is not None
    assert early.meaning is Meaning.EARLY_WARNING
    assert near is not None
    assert near.meaning is Meaning.CERTAIN
