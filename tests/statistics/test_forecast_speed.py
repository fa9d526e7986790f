"""That a forecast of thousands of positions stays cheap, beside SciPy's curve fit of the same readings.

Limits are generous, since the machine may be busy with other tests; the figures that the project aims at are measured
by tests/measure/forecast_speed.py.
"""

import numpy as np
import pytest

from scheduler.statistics.condition_forecast import forecast
from tests.measure.forecast_speed import curve_fits_s, forecast_s, measure, positions_with, tables


def test_a_forecast_costs_less_than_fitting_a_curve_with_its_parameters_held_above_zero() -> None:
    lives = positions_with(2000, 50, seed=1)
    ours_s = forecast_s(lives, rounds=2) / 2000
    few = positions_with(40, 50, seed=1)
    assert curve_fits_s(few, "c + a·exp(b·h), none below 0") / 40 > 5.0 * ours_s


def test_twenty_times_the_readings_cost_at_most_twenty_times_the_time() -> None:
    few_s, many_s = (forecast_s(positions_with(200, each, seed=2), rounds=2) for each in (50, 1000))
    assert many_s < 20.0 * few_s


def test_drawn_positions_repeated_to_a_larger_plant_have_the_same_forecasts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.measure.forecast_speed.DRAWN_AT_MOST", 30)
    lives = positions_with(70, 12, seed=3)
    hours = forecast(lives.readings, lives.before, run_h_now=lives.run_h_now).remaining.quantile(0.5)
    assert hours[30:60] == pytest.approx(hours[:30], rel=1e-3)
    assert len(np.unique(hours)) > 20


def test_the_short_measurement_fills_its_tables() -> None:
    speed = measure(60, 10, seed=4, fitted=3)
    assert min(speed.one_s, speed.whole_s, *speed.fit_s.values()) > 0.0
    assert speed.inputs_MB <= speed.peak_MB
    shown = tables(speed)
    assert all(f"curve_fit, {curve}" in shown for curve in speed.fit_s)
    assert "nan" not in shown
