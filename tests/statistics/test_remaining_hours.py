import numpy as np
import pytest
from scipy import stats

from scheduler.statistics.remaining_hours import (
    BINS,
    CENTRE_H,
    EDGE_H,
    RemainingHours,
    at_hours,
    from_lognormal,
)

MEDIAN_H = np.array([120.0, 1500.0, 8000.0])
LOG_SD = np.array([0.2, 0.4, 0.9])


@pytest.mark.parametrize("level", [0.02, 0.1, 0.5, 0.9, 0.98])
def test_quantiles_of_a_new_element_are_those_of_the_log_normal(level: float) -> None:
    found = from_lognormal(np.log(MEDIAN_H), LOG_SD).quantile(level)
    expected = stats.lognorm.ppf(level, LOG_SD, scale=MEDIAN_H)  # scipy.stats.lognorm
    assert found == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("survived_h", [10.0, 900.0, 2500.0])
def test_an_element_that_has_run_has_the_truncated_log_normal_left(survived_h: float) -> None:
    life = stats.lognorm(0.4, scale=1500.0)
    remaining = from_lognormal(np.log([1500.0]), np.array([0.4]), survived_h)
    for level in (0.1, 0.5, 0.9):
        expected = life.isf((1.0 - level) * life.sf(survived_h)) - survived_h
        assert remaining.quantile(level)[0] == pytest.approx(expected, rel=0.01)


def test_probabilities_agree_with_the_log_normal_at_any_hours() -> None:
    hours = np.geomspace(1.0, 50_000.0, 37)
    found = from_lognormal(np.log(MEDIAN_H), LOG_SD).cdf_at(np.tile(hours, (3, 1)))
    expected = stats.lognorm.cdf(hours, LOG_SD[:, None], scale=MEDIAN_H[:, None])
    assert found == pytest.approx(expected, abs=0.01)


def test_a_quantile_and_its_probability_are_inverse() -> None:
    remaining = from_lognormal(np.log(MEDIAN_H), LOG_SD, np.array([0.0, 1000.0, 9000.0]))
    for level in (0.05, 0.37, 0.8):
        assert remaining.cdf_at(remaining.quantile(level)) == pytest.approx(level, abs=1e-9)


def test_the_mean_is_that_of_the_log_normal() -> None:
    found = from_lognormal(np.log(MEDIAN_H[:2]), LOG_SD[:2]).mean_h()
    assert found == pytest.approx(stats.lognorm.mean(LOG_SD[:2], scale=MEDIAN_H[:2]), rel=0.005)


def test_far_beyond_the_median_the_conditional_life_stays_a_distribution() -> None:
    remaining = from_lognormal(np.log([1000.0]), np.array([0.1]), 20_000.0)
    assert 0.0 <= remaining.quantile(0.1)[0] < remaining.quantile(0.9)[0] < 20_000.0


def test_what_is_already_reached_has_no_hours_left_and_what_never_comes_has_infinite() -> None:
    within = np.zeros((3, BINS))
    within[0, 80] = 0.4
    remaining = RemainingHours(np.array([0.6, 1.0, 0.0]), within, np.array([0.0, 0.0, 1.0]))
    assert remaining.quantile(0.5).tolist() == [0.0, 0.0, np.inf]
    assert EDGE_H[80] < remaining.quantile(0.8)[0] < EDGE_H[81]
    assert remaining.cdf_at(0.0).tolist() == [0.6, 1.0, 0.0]
    assert remaining.cdf_at(-1.0).tolist() == [0.0, 0.0, 0.0]
    assert remaining.cdf_at(np.inf).tolist() == [1.0, 1.0, 1.0]


def test_a_makers_limit_in_hours_keeps_its_place() -> None:
    remaining = at_hours(np.array([0.0, 250.0, 90_000.0, -4.0]))
    assert remaining.quantile(0.5)[[0, 2, 3]].tolist() == [0.0, np.inf, 0.0]
    assert remaining.quantile(0.5)[1] == pytest.approx(250.0, rel=0.08)  # one bin of the grid


def test_probabilities_that_do_not_sum_to_one_are_refused() -> None:
    with pytest.raises(ValueError, match=r"sum to 0\.5"):
        RemainingHours(np.array([0.5]), np.zeros((1, BINS)), np.array([0.0]))
    with pytest.raises(ValueError, match=r"level 1\.0 is outside"):
        at_hours(CENTRE_H).quantile(1.0)
    with pytest.raises(ValueError, match=r"run hours -1\.0"):
        from_lognormal(np.log([1000.0]), np.array([0.3]), -1.0)
    with pytest.raises(ValueError, match="not above 0"):
        from_lognormal(np.log([1000.0]), np.array([0.0]))
