"""Hours left from ΔP readings, honest about cold oil, flat lines and positions that nobody reads."""

from dataclasses import replace

import numpy as np
import pytest

from scheduler.engineering.reading_gate import Gate
from scheduler.planning.condition import Condition
from scheduler.planning.usable_readings import _running_median
from scheduler.statistics.life_left import remaining_life
from scheduler.statistics.life_model import LifePrior
from scheduler.vocabulary import Place
from tests.planning.small_plant import (
    BREATHER,
    NAN,
    NOW,
    STRAINER,
    Position,
    Reading,
    System,
    assess,
    life_of,
    plant,
    rising_readings,
    steady_meter,
    with_newest,
)

TERMINAL = 2.5


def condition_of(*readings: Reading, life: LifePrior | None = None, **position: object) -> Condition:
    given: dict[str, object] = {"terminal_dp_bar": TERMINAL, "readings": readings}
    return assess(plant(Position(**(given | position))), life).condition  # type: ignore[arg-type]


def median_h(condition: Condition) -> float:
    return float(condition.remaining.quantile(0.5)[0])


@pytest.mark.parametrize(("life_d", "left_h"), [(105.0, 40.0), (130.0, 240.0), (200.0, 800.0)])
def test_a_rising_line_is_forecast_to_its_true_end(life_d: float, left_h: float) -> None:
    """An exponential rise, which is no member of the forecast's own family of shapes; 8 run hours a day."""
    found = condition_of(*rising_readings(life_d), life=life_of(1200.0, 0.5))
    low, high = (float(found.remaining.quantile(level)[0]) for level in (0.05, 0.95))
    assert low < left_h < high
    assert abs(median_h(found) - left_h) < 0.25 * (800.0 + left_h)


def test_a_cold_start_reading_does_not_condemn_the_element() -> None:
    """At 10 °C the oil is more than four times as viscous as at 50 °C (ASTM D341): 3.2 bar are no dirt."""
    warm = rising_readings(400.0)
    cold = Reading(NOW, 3.2, oil_temperature_degC=10.0)
    found = condition_of(*warm, cold)
    assert Gate(int(found.gate[-1])) is Gate.COLD
    assert median_h(found) == median_h(condition_of(*warm))


def test_a_cool_reading_is_restated_not_believed_as_read() -> None:
    """At 25 °C the oil is about three times as viscous as at 50 °C: 2.0 bar are not the limit of 2.5."""
    before = rising_readings(400.0, until_day=NOW - 5.0)

    def left_h(oil_temperature_degC: float) -> float:
        newest = [Reading(NOW - day, 2.0, oil_temperature_degC=oil_temperature_degC) for day in (2.0, 0.0)]
        return median_h(condition_of(*before, *newest))

    assert left_h(25.0) > 10.0 * left_h(50.0)


def test_the_only_reading_there_is_taken_at_a_cold_start_condemns_nothing() -> None:
    found = condition_of(Reading(NOW, 3.2, oil_temperature_degC=12.0))
    assert found.has_forecast.tolist() == [False]
    assert median_h(found) == median_h(condition_of())


def test_a_standing_machine_is_never_taken_for_a_clean_element() -> None:
    worn = rising_readings(115.0)
    standing = (Reading(NOW, 0.0, flow_lpm=0.0), Reading(NOW, 0.0, flow_lpm=NAN))
    assert median_h(condition_of(*worn, *standing)) == pytest.approx(median_h(condition_of(*worn)))


def test_a_flat_line_late_in_life_follows_the_lives_before() -> None:
    """1,800 h of 0.30 bar where elements last 1,500 h: a straight line would promise decades."""
    flat = tuple(Reading(NOW - day, 0.30) for day in np.arange(224.0, -1.0, -8.0))
    life = life_of(1500.0, 0.3)
    found = condition_of(*flat, life=life, fitted_day=NOW - 225.0)
    by_age = float(remaining_life(life, np.array([1800.0])).quantile(0.5)[0])
    assert found.has_forecast.tolist() == [True]
    assert 0.8 * (1800.0 + by_age) < 1800.0 + median_h(found) < 1.4 * (1800.0 + by_age)


def test_a_bypass_that_must_stay_shut_at_start_makes_the_element_last_less_long() -> None:
    """Started at 20 °C it has to be changed at 0.56 bar warm instead of at 2.5."""
    worn = Position(terminal_dp_bar=TERMINAL, readings=rising_readings(160.0))
    cold = [System(coldest_start_degC=20.0)]
    free, shut = (
        median_h(assess(plant(replace(worn, shut_at_start=shut), systems=cold), life_of(1500.0)).condition)
        for shut in (False, True)
    )
    assert shut < 0.5 * free


def test_a_clean_level_above_the_limit_is_past_it_and_no_fault_of_the_arithmetic() -> None:
    found = condition_of(*(Reading(NOW - day, 0.30) for day in (6.0, 3.0, 0.0)), terminal_dp_bar=0.2)
    assert median_h(found) == 0.0


def test_readings_without_a_known_limit_say_nothing_of_the_hours_left() -> None:
    found = condition_of(*rising_readings(), terminal_dp_bar=NAN)
    assert found.has_forecast.tolist() == [False]
    assert median_h(found) == median_h(condition_of())


@pytest.mark.parametrize("many", [1, 2])
def test_a_warm_reading_at_the_bypass_setting_says_at_least_what_one_just_below_it_says(many: int) -> None:
    """The bypass opens at 3.0 bar, the limit is 2.25: from 2.85 on a reading is at the bypass setting."""

    def left_h(dp_bar: float) -> float:
        readings = (*rising_readings()[:: 3 - many], *[Reading(NOW, dp_bar)] * many)[-many:]
        found = condition_of(*readings, terminal_dp_bar=NAN, bypass_dp_bar=3.0)
        return median_h(found)

    assert left_h(3.2) <= left_h(2.9) <= left_h(2.8) <= left_h(2.0)
    assert left_h(2.9) == 0.0


def test_readings_at_the_bypass_setting_end_a_long_series_too() -> None:
    series = rising_readings(until_day=NOW - 5.0)

    def left_h(dp_bar: float) -> float:
        newest = (Reading(NOW - 2.0, dp_bar), Reading(NOW, dp_bar))
        return median_h(condition_of(*series, *newest, terminal_dp_bar=NAN, bypass_dp_bar=3.0))

    assert left_h(3.1) <= left_h(2.9) <= left_h(2.8) < 5.0


def test_a_bypass_seen_open_with_cool_oil_does_not_make_the_element_look_better() -> None:
    """At 25 °C 3.05 bar are less than 1 bar restated, but with the bypass open it could have shown no more."""
    series = tuple(Reading(NOW - day, 1.6) for day in (12.0, 9.0, 6.0, 3.0))
    cool, as_before = Reading(NOW, 3.05, oil_temperature_degC=25.0), Reading(NOW, 1.6)
    with_cool, with_warm = (
        condition_of(*series, newest, terminal_dp_bar=NAN, bypass_dp_bar=3.0, life=life_of(1500.0))
        for newest in (cool, as_before)
    )
    assert Gate(int(with_cool.gate[-1])) is Gate.BYPASS_OPEN
    assert median_h(with_cool) <= 1.06 * median_h(with_warm)


def test_a_cold_bypass_is_a_cold_start_and_no_evidence() -> None:
    series = rising_readings(400.0)
    cold = Reading(NOW, 3.2, oil_temperature_degC=10.0)
    with_cold, without = (
        condition_of(*more, terminal_dp_bar=NAN, bypass_dp_bar=3.0) for more in ((*series, cold), series)
    )
    assert Gate(int(with_cold.gate[-1])) is Gate.COLD_BYPASS
    assert median_h(with_cold) == median_h(without)


def test_one_slipped_decimal_does_not_condemn_the_element() -> None:
    series = rising_readings(400.0)
    typed = with_newest(series, dp_bar=10.0 * series[-1].dp_bar)
    assert median_h(condition_of(*typed)) > 0.4 * median_h(condition_of(*series))


def test_a_strainer_is_forecast_from_its_vacuum() -> None:
    def of(newest_bar: float) -> Condition:
        bars = [0.08, 0.08, 0.08, 0.08, 0.09, 0.10, newest_bar - 0.01, newest_bar]
        readings = [Reading(NOW - 70.0 + 10.0 * step, NAN, vacuum_bar=bar) for step, bar in enumerate(bars)]
        return condition_of(
            *readings, terminal_dp_bar=NAN, place=Place.SUCTION, part=STRAINER, fitted=STRAINER, life=life_of(3000.0)
        )

    assert of(0.11).has_forecast.tolist() == [True]
    assert median_h(of(0.33)) < 0.2 * median_h(of(0.11))
    assert median_h(of(0.36)) == 0.0


def test_a_breather_is_known_by_the_lives_before() -> None:
    life = life_of(1600.0)
    found = condition_of(terminal_dp_bar=NAN, place=Place.BREATHER, part=BREATHER, fitted=BREATHER, life=life)
    assert found.has_forecast.tolist() == [False]
    assert median_h(found) == float(remaining_life(life, np.array([800.0])).quantile(0.5)[0])


def test_a_forecast_is_of_its_own_position_and_no_other() -> None:
    worn, fresh = rising_readings(110.0), rising_readings(400.0)
    columns = plant(
        Position("P1", terminal_dp_bar=TERMINAL, readings=fresh),
        Position("P2"),
        Position("P3", terminal_dp_bar=TERMINAL, readings=worn),
        Position("P4", fitted=None, terminal_dp_bar=TERMINAL),
    )
    found = assess(columns, life_of(1500.0, positions=4)).condition
    alone = [median_h(condition_of(*readings, life=life_of(1500.0))) for readings in (fresh, worn)]
    assert found.has_forecast.tolist() == [True, False, True, False]
    assert found.row_of.tolist() == [0, -1, 1, -1]
    assert found.remaining.quantile(0.5)[[0, 2]].tolist() == pytest.approx(alone, rel=1e-3)


def test_a_new_element_without_a_run_hour_can_be_forecast() -> None:
    found = condition_of(Reading(NOW, 0.3), fitted_day=NOW - 0.01, life=life_of(1500.0))
    assert 0.5 * 1500.0 < median_h(found) < 2.0 * 1500.0


def test_without_any_meter_a_forecast_runs_on_the_assumed_hours() -> None:
    columns = plant(Position(terminal_dp_bar=TERMINAL, readings=rising_readings(120.0)), meters={("S1", ""): ()})
    known = plant(
        Position(terminal_dp_bar=TERMINAL, readings=rising_readings(120.0)), meters={("S1", ""): steady_meter()}
    )
    assumed, read = (median_h(assess(each).condition) for each in (columns, known))
    assert assumed == pytest.approx(read, rel=0.02)  # the small plant's meter shows just what is assumed


def test_the_running_median_is_that_of_five_neighbours_in_the_same_position() -> None:
    rng = np.random.default_rng(5)
    owner = np.repeat([0, 1, 2, 3], [1, 2, 5, 9])
    values = rng.uniform(0.1, 3.0, len(owner))
    slow = [
        float(np.median([values[j] for j in range(max(0, i - 2), min(len(owner), i + 3)) if owner[j] == owner[i]]))
        for i in range(len(owner))
    ]
    assert _running_median(values, owner).tolist() == pytest.approx(slow)
