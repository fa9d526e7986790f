"""Lines through log counts, beside least squares, an interval likelihood by SciPy, and drawn samples."""

import numpy as np
import pytest
from scipy import optimize, stats

from scheduler.engineering.cleanliness_code import scale_numbers
from scheduler.statistics.cleanliness_evidence import bounds_of_counts, bounds_of_numbers
from scheduler.statistics.count_levels import DAYS_A_YEAR, WALK_LOG_SD, count_step, count_trend

DAY = np.arange(0.0, 720.0, 30.0)


def drawn(rng: np.random.Generator, rows: int, slope: float, scatter: float = 0.35) -> np.ndarray:
    """Counts about 300 a mL on the last day, log-normal scatter."""
    return np.exp(
        np.log(300.0) + slope * (DAY - DAY[-1]) / DAYS_A_YEAR + scatter * rng.standard_normal((rows, len(DAY)))
    )


def test_counts_without_outliers_give_nearly_the_line_of_least_squares() -> None:
    counts = drawn(np.random.default_rng(1), 20, 0.5)
    ours = count_trend(np.broadcast_to(DAY, counts.shape), counts, counts, DAY[-1])
    for row, each in enumerate(counts):
        fitted = stats.linregress((DAY - DAY[-1]) / DAYS_A_YEAR, np.log(each))  # slow reference
        assert float(ours.change[row]) == pytest.approx(fitted.slope, abs=0.12)
        assert float(ours.level[row]) == pytest.approx(fitted.intercept, abs=0.12)


def test_codes_alone_give_the_line_of_the_interval_likelihood() -> None:
    counts = drawn(np.random.default_rng(2), 6, 0.6)
    numbers = scale_numbers(counts)
    low, high = bounds_of_numbers(numbers, np.zeros(numbers.shape, dtype=bool))
    ours = count_trend(np.broadcast_to(DAY, counts.shape), low, high, DAY[-1])
    years = (DAY - DAY[-1]) / DAYS_A_YEAR
    for row in range(len(counts)):

        def against(line: np.ndarray, row: int = row) -> float:
            mean, sd = line[0] + line[1] * years, float(ours.scatter_log_sd[row])
            inside = stats.norm.cdf(np.log(high[row]), mean, sd) - stats.norm.cdf(np.log(low[row]), mean, sd)
            return -float(np.log(np.maximum(inside, 1e-300)).sum())

        best = optimize.minimize(against, [5.7, 0.0], method="Nelder-Mead").x  # slow reference, normal scatter
        assert ours.level[row] == pytest.approx(best[0], abs=0.12)
        assert ours.change[row] == pytest.approx(best[1], abs=0.12)


def test_a_bad_bottle_does_not_make_a_trend() -> None:
    counts = drawn(np.random.default_rng(3), 1, 0.0)
    spoiled = counts.copy()
    spoiled[0, -2] *= 20.0
    days = np.broadcast_to(DAY, counts.shape)
    clean, with_bottle = (float(count_trend(days, each, each, DAY[-1]).change[0]) for each in (counts, spoiled))
    least_squares = stats.linregress(DAY / DAYS_A_YEAR, np.log(spoiled[0])).slope
    assert abs(with_bottle - clean) < 0.5 * abs(least_squares - clean)


def test_the_band_of_a_step_holds_it_as_often_as_it_says() -> None:
    rng = np.random.default_rng(4)
    counts = drawn(rng, 600, 0.0)
    recent = np.broadcast_to(np.arange(len(DAY)) >= len(DAY) - 3, counts.shape)
    counts = counts * np.where(recent, 2.0, 1.0)
    found = count_step(counts, counts, recent, np.zeros(600))  # no wander is drawn, none is added
    z = (found.change - np.log(2.0)) / found.change_sd
    # normal quantiles: 80 % within 1.2816; the prior of the scatter (0.4 against the drawn 0.35) makes it cautious
    assert 0.77 < float(np.mean(np.abs(z) < 1.2816)) < 0.93
    assert abs(float(np.mean(z))) < 0.15


def test_an_oil_that_wanders_is_seldom_said_to_rise() -> None:
    rng = np.random.default_rng(5)
    walk = np.cumsum(WALK_LOG_SD * np.sqrt(30.0 / DAYS_A_YEAR) * rng.standard_normal((500, len(DAY))), axis=1)
    counts = drawn(rng, 500, 0.0) * np.exp(walk)
    found = count_trend(np.broadcast_to(DAY, counts.shape), counts, counts, DAY[-1])
    assert float(np.mean(found.rise_probability() > 0.95)) < 0.08


def test_lower_bounds_alone_hold_a_level_up_and_give_no_false_precision() -> None:
    low, high = bounds_of_numbers(np.full((1, 6), 16), np.ones((1, 6), dtype=bool))
    counted_low, counted_high = bounds_of_counts(np.full((1, 6), 450.0))
    years = np.zeros((1, 6), dtype=bool)
    at_least = count_step(low, high, years, np.zeros(1))
    counted = count_step(counted_low, counted_high, years, np.zeros(1))
    assert float(at_least.level[0]) > np.log(320.0)  # ISO 4406:2021: number 16 begins above 320 per mL
    assert float(at_least.level_sd[0]) > 1.5 * float(counted.level_sd[0])


def test_two_samples_give_a_level_and_no_trend_and_none_give_nothing() -> None:
    two = np.array([[np.nan, 200.0, 400.0]])
    found = count_trend(np.array([[np.nan, 0.0, 30.0]]), two, two, 30.0)
    assert np.isnan(found.change[0])
    assert not np.isnan(found.level[0])
    none = np.full((1, 3), np.nan)
    assert np.isnan(count_trend(none, none, none, 30.0).level[0])


def test_bounds_that_cross_and_unlike_shapes_are_refused() -> None:
    with pytest.raises(ValueError, match="above its upper bound"):
        count_trend(np.zeros((1, 2)), np.array([[2.0, 1.0]]), np.array([[1.0, 1.0]]), 0.0)
    with pytest.raises(ValueError, match="differ"):
        count_trend(np.zeros((1, 3)), np.ones((1, 2)), np.ones((1, 2)), 0.0)
