"""Forecasts held against what came: right ones are found right, also where most ends were never seen."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from scheduler.statistics.forecast_outcomes import (
    LEVELS,
    Outcomes,
    errors_of,
    reliability_of,
    transform,
)

Floats = npt.NDArray[np.float64]

MEDIAN_H, LOG_SD = 800.0, 0.5


def forecast(count: int, median_h: float = MEDIAN_H, log_sd: float = LOG_SD) -> Floats:
    """Log-normal quantiles by SciPy."""
    return np.tile(stats.lognorm(log_sd, scale=median_h).ppf(LEVELS), (count, 1))


def came(count: int, seed: int) -> Floats:
    return MEDIAN_H * np.exp(LOG_SD * np.random.default_rng(seed).standard_normal(count))


def outcomes(hours_left: Floats, left_h: Floats, ended: npt.NDArray[np.bool_] | None = None) -> Outcomes:
    count = len(left_h)
    over = np.ones(count, dtype=bool) if ended is None else ended
    return Outcomes(hours_left, left_h, left_h + 200.0, over, np.arange(count))


def test_the_transform_between_the_levels_is_near_the_distributions_own() -> None:
    left_h = came(500, 1)
    exact = stats.lognorm(LOG_SD, scale=MEDIAN_H).cdf(left_h)
    assert np.max(np.abs(transform(forecast(500), left_h) - exact)) < 0.015  # straight lines over a bent function


@given(st.floats(0.0, 20_000.0), st.floats(0.0, 20_000.0))
def test_whoever_lasts_longer_is_later_in_the_forecast(one_h: float, other_h: float) -> None:
    found = transform(forecast(2), np.sort([one_h, other_h]))
    assert 0.0 <= found[0] <= found[1] <= 1.0


def test_a_forecast_that_says_never_has_its_end_in_the_middle_of_what_it_left_open() -> None:
    open_end = forecast(1)
    open_end[0, 6:] = np.inf
    assert transform(open_end, np.array([1e6]))[0] == pytest.approx(0.45)  # between the 40 and the 50 % point


def test_right_forecasts_are_found_right() -> None:
    """The share within the 80 % band of 2,000 lives has a standard error of 0.9 %, the mean one of 0.65 %."""
    found = reliability_of(outcomes(forecast(2000), came(2000, 2)))
    assert found.band_share == pytest.approx(0.80, abs=0.03)
    assert found.mean_pit == pytest.approx(0.50, abs=0.02)


def test_ends_that_were_never_seen_do_not_make_right_forecasts_look_late() -> None:
    """Three quarters are changed before their limit, at hours that have nothing to do with it."""
    left_h, cut_h = came(3000, 3), 0.65 * came(3000, 4)
    seen = outcomes(forecast(3000), np.minimum(left_h, cut_h), left_h <= cut_h)
    assert np.mean(seen.ended) < 0.35
    found = reliability_of(seen)
    assert found.band_share == pytest.approx(0.80, abs=0.04)
    assert found.mean_pit == pytest.approx(0.50, abs=0.03)
    only_ended = reliability_of(seen.of(seen.ended))  # what a count of the seen ends alone would say
    assert only_ended.mean_pit < 0.40


def test_narrow_forecasts_and_late_ones_are_found_out() -> None:
    narrow = reliability_of(outcomes(forecast(1500, log_sd=0.2), came(1500, 5)))
    assert narrow.band_share < 0.5  # P(|z| < 1.28 · 0.2/0.5) = 0.39 for the normal
    late = reliability_of(outcomes(forecast(1500, median_h=1500.0), came(1500, 6)))
    assert late.mean_pit < 0.3


def test_a_life_asked_often_weighs_no_more_than_one_asked_once() -> None:
    """One early life asked nine times and nine in the middle asked once each: nine tenths are in the band."""
    left_h = np.concatenate([np.full(9, 50.0), np.full(9, MEDIAN_H)])
    asked = Outcomes(forecast(18), left_h, left_h, np.ones(18, dtype=bool), np.array([0] * 9 + list(range(1, 10))))
    assert reliability_of(asked).band_share == pytest.approx(0.9, abs=1e-6)


def test_errors_are_those_of_a_small_table_by_hand() -> None:
    """Medians of 300, 500 and 900 h left for 400, 400 and 400 h that came, of lives of 1,000 h."""
    hours_left = np.vstack([forecast(1, median_h=each) for each in (300.0, 500.0, 900.0)])
    found = errors_of(
        Outcomes(hours_left, np.full(3, 400.0), np.full(3, 1000.0), np.ones(3, dtype=bool), np.arange(3))
    )
    assert found.absolute_error_h == pytest.approx(100.0)
    assert found.absolute_error_share == pytest.approx(0.1)
    assert found.error_share == pytest.approx(0.1)
    assert found.late_by_fifth_share == pytest.approx(1 / 3)


def test_lives_cut_short_have_no_error_that_anybody_knows() -> None:
    found = errors_of(outcomes(forecast(4), came(4, 7), np.zeros(4, dtype=bool)))
    assert found.forecasts == 0
    assert np.isnan(found.absolute_error_h)
