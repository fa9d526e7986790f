"""Which readings count, and why the others do not."""

import numpy as np
import pytest

from scheduler.engineering.pressure_drop import WarmState, normalised_dp
from scheduler.engineering.reading_gate import COUNTED_GATES, Gate, gate_readings
from scheduler.engineering.viscosity import walther_constants

STEP_BAR = 0.1
BYPASS_BAR = 3.0


def _gate(
    dp_bar: float,
    flow_lpm: float = 100.0,
    temperature_degC: float = 50.0,
    *,
    bypass_dp_bar: float = BYPASS_BAR,
    is_change_day: bool = False,
) -> Gate:
    constants = walther_constants(46.0, 6.8)
    warm = WarmState(*(np.array(value) for value in (100.0, 50.0, 0.1, *constants, 870.0, 0.10)))
    reading = normalised_dp(dp_bar, flow_lpm, temperature_degC, warm)
    gates = gate_readings(
        dp_bar, flow_lpm, reading, gauge_step_bar=STEP_BAR, bypass_dp_bar=bypass_dp_bar, is_change_day=is_change_day
    )
    return Gate(int(gates))


def test_a_warm_reading_at_working_flow_counts() -> None:
    assert _gate(0.8) is Gate.USABLE


def test_a_cold_start_reading_does_not_condemn_the_element() -> None:
    # 46/6.8 mm²/s: 133.8 at 20 °C is 4.5 times 29.97 at 50 °C, over our limit of 4 (design, section 1)
    assert _gate(2.5, temperature_degC=20.0) is Gate.COLD
    assert _gate(2.5, temperature_degC=30.0) is Gate.USABLE


def test_a_trickle_of_oil_does_not_show_a_clean_element() -> None:
    assert _gate(0.3, flow_lpm=29.0) is Gate.LOW_FLOW
    assert _gate(0.3, flow_lpm=31.0) is Gate.USABLE


@pytest.mark.parametrize(("dp_bar", "flow_lpm"), [(0.0, 0.0), (0.8, 0.0), (0.0, np.nan), (0.04, np.nan)])
def test_a_standing_machine_is_never_clean(dp_bar: float, flow_lpm: float) -> None:
    assert _gate(dp_bar, flow_lpm) is Gate.NO_FLOW


def test_nothing_on_the_gauge_at_a_known_flow_is_a_reading_below_its_resolution() -> None:
    assert _gate(0.0) is Gate.BELOW_RESOLUTION
    assert _gate(0.15) is Gate.BELOW_RESOLUTION  # 0.05 bar of it is element


def test_a_day_of_change_belongs_to_neither_life() -> None:
    assert _gate(0.8, is_change_day=True) is Gate.CHANGE_DAY


def test_an_open_bypass_is_evidence_and_no_measure() -> None:
    # 0.95 · (3.0 cracking + 0.1 housing) = 2.945 bar
    assert _gate(2.96) is Gate.BYPASS_OPEN
    assert _gate(2.93) is Gate.USABLE


def test_a_bypass_opened_by_cold_oil_is_told_from_one_opened_by_dirt() -> None:
    assert _gate(3.3, temperature_degC=0.0) is Gate.COLD_BYPASS


def test_without_a_bypass_a_high_reading_is_a_high_reading() -> None:
    assert _gate(6.0, bypass_dp_bar=np.nan) is Gate.USABLE


@pytest.mark.parametrize(("dp_bar", "flow_lpm"), [(-0.3, 100.0), (0.8, -5.0), (np.inf, 100.0), (0.8, np.inf)])
def test_what_cannot_be_is_told_so(dp_bar: float, flow_lpm: float) -> None:
    assert _gate(dp_bar, flow_lpm) is Gate.IMPOSSIBLE


def test_a_gauge_half_a_step_off_its_zero_is_not_impossible() -> None:
    assert _gate(-0.05) is Gate.BELOW_RESOLUTION


def test_an_indicator_seen_without_a_gauge_is_no_pressure_reading() -> None:
    assert _gate(np.nan) is Gate.NO_PRESSURE


def test_only_readings_that_say_something_enter_the_forecast() -> None:
    assert {Gate.USABLE, Gate.BELOW_RESOLUTION} == COUNTED_GATES


def test_many_readings_are_gated_at_once() -> None:
    constants = walther_constants(46.0, 6.8)
    warm = WarmState(*(np.array(value) for value in (100.0, 50.0, 0.1, *constants, 870.0, 0.10)))
    dp_bar = np.array([0.8, np.nan, 2.5, 0.0])
    flow_lpm = np.array([100.0, 100.0, np.nan, 0.0])
    reading = normalised_dp(dp_bar, flow_lpm, np.array([50.0, np.nan, 10.0, 50.0]), warm)
    gates = gate_readings(
        dp_bar, flow_lpm, reading, gauge_step_bar=0.1, bypass_dp_bar=BYPASS_BAR, is_change_day=np.zeros(4, dtype=bool)
    )
    assert gates.tolist() == [Gate.USABLE, Gate.NO_PRESSURE, Gate.COLD, Gate.NO_FLOW]
    assert gates.dtype == np.int8
