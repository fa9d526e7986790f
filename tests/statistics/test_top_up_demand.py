"""Litres of top-up and oil changes, against SciPy's negative binomial, Panjer's recursion and drawn systems."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from scheduler.statistics.top_up_demand import (
    TopUpDemand,
    TopUpPrior,
    compound_negative_binomial,
    lognormal_on_lattice,
    next_oil_change,
    top_up_demand,
)

MONTH_D = np.linspace(0.0, 360.0, 13)


def litres(volume_L: list[float], watched_d: float, prior: TopUpPrior | None = None) -> TopUpDemand:
    return top_up_demand(
        np.array(volume_L, dtype=float),
        watched_d=watched_d,
        reservoir_L=250.0,
        edge_d=MONTH_D,
        step_L=1.0,
        prior=prior,
    )


def mean_L(rows: np.ndarray) -> np.ndarray:
    return rows @ np.arange(rows.shape[-1])


def panjer(shape: float, keep: float, volume: np.ndarray) -> np.ndarray:
    """Panjer 1981, ASTIN Bulletin 12:22: negative binomial a = 1 − q, b = (r − 1)(1 − q); term after term."""
    a, b = 1.0 - keep, (shape - 1.0) * (1.0 - keep)
    found = np.zeros(len(volume))
    found[0] = (keep / (1.0 - a * volume[0])) ** shape
    for k in range(1, len(volume)):
        j = np.arange(1, k + 1)
        found[k] = ((a + b * j / k) * volume[j] * found[k - j]).sum() / (1.0 - a * volume[0])
    return found


def test_top_ups_of_one_step_are_the_negative_binomial_of_scipy() -> None:
    one = np.zeros(256)
    one[1] = 1.0
    found = compound_negative_binomial(3.5, np.array([0.4, 0.8]), one)
    for keep, row in zip((0.4, 0.8), found, strict=True):
        assert row == pytest.approx(stats.nbinom.pmf(np.arange(256), 3.5, keep), abs=1e-12)


def test_a_gamma_rate_mixes_poisson_counts_into_that_negative_binomial() -> None:
    shape, watched_d, ahead_d = 4.5, 300.0, 90.0
    one = np.zeros(128)
    one[1] = 1.0
    (found,) = compound_negative_binomial(shape, np.array([watched_d / (watched_d + ahead_d)]), one)
    rate = stats.gamma(shape, scale=1.0 / watched_d)
    for k in (0, 1, 3, 6):
        mixed, _ = integrate.quad(lambda r, k=k: stats.poisson.pmf(k, r * ahead_d) * rate.pdf(r), 0.0, 0.3)
        assert found[k] == pytest.approx(mixed, abs=1e-8)


@pytest.mark.parametrize(("shape", "keep"), [(0.5, 0.3), (6.5, 0.6), (30.0, 0.9)])
def test_the_transform_gives_what_panjers_recursion_gives(shape: float, keep: float) -> None:
    volume = np.zeros(1024)
    volume[:5] = [0.1, 0.3, 0.2, 0.25, 0.15]
    (found,) = compound_negative_binomial(shape, np.array([keep]), volume)
    assert found[:300] == pytest.approx(panjer(shape, keep, volume[:300]), abs=1e-12)


def test_volumes_keep_their_mean_on_the_lattice() -> None:
    median_L, log_sd = np.array([3.0, 20.0]), np.array([0.2, 0.6])
    for step_L in (0.5, 2.0, 10.0):
        found = lognormal_on_lattice(median_L, log_sd, step_L=step_L, steps=int(400 / step_L))
        assert step_L * mean_L(found) == pytest.approx(np.mean(median_L * np.exp(log_sd**2 / 2.0)), rel=1e-4)
        assert found.sum() == pytest.approx(1.0, abs=1e-5)


def test_the_mean_is_posterior_rate_times_mean_volume() -> None:
    prior = TopUpPrior()
    found = litres([6.0, 9.0, 12.0], 400.0, prior)
    rate_per_d = (prior.worth_top_ups + 3.0) / (prior.worth_d + 400.0)
    seen_L = np.array([6.0, 9.0, 12.0]) * np.exp(prior.smoothing_log_sd**2 / 2.0)
    volume_L = (seen_L.sum() + prior.reservoir_share * 250.0 * np.exp(prior.log_sd**2 / 2.0)) / 4.0
    assert mean_L(found.by_end) == pytest.approx(rate_per_d * volume_L * MONTH_D[1:], rel=1e-3)
    assert mean_L(found.within) == pytest.approx(np.full(12, rate_per_d * volume_L * 30.0), rel=1e-3)
    assert found.by_end.sum(axis=1) == pytest.approx(np.ones(12))
    assert found.within.shape == found.by_end.shape


def test_the_litres_of_a_year_are_those_of_drawn_systems() -> None:
    prior, volume_L = TopUpPrior(), [4.0, 5.0, 8.0, 20.0]
    found = litres(volume_L, 500.0, prior)
    rng, draws = np.random.default_rng(9), 40_000
    rate_per_d = rng.gamma(prior.worth_top_ups + 4.0, 1.0 / (prior.worth_d + 500.0), draws)
    count = rng.poisson(rate_per_d * 360.0)
    medians = np.array([*volume_L, prior.reservoir_share * 250.0])
    which = rng.integers(0, 5, count.sum())
    sd = np.where(which == 4, prior.log_sd, prior.smoothing_log_sd)
    sizes_L = medians[which] * np.exp(sd * rng.standard_normal(count.sum()))
    total_L = np.bincount(np.repeat(np.arange(draws), count), sizes_L, draws)
    cdf = np.cumsum(found.by_end[-1])
    for quantile_L in (10, 25, 50, 100):
        half = 0.5 * (cdf[quantile_L] + cdf[quantile_L - 1])  # a whole litre stands for half a litre to both sides
        assert half == pytest.approx(np.mean(total_L <= quantile_L), abs=0.012)


def test_a_thirsty_system_stays_thirsty() -> None:
    found = litres([5.0] * 3, 200.0)
    steps = np.arange(found.by_end.shape[1])
    variance = [row @ steps**2 - (row @ steps) ** 2 for row in (found.by_end[-1], found.within[0])]
    assert variance[0] > 1.5 * 12.0 * variance[1]  # more than of twelve independent months


def test_little_seen_is_a_wide_guess_and_is_said_to_be_one() -> None:
    new, known = litres([], 20.0), litres([7.5] * 10, 1_800.0)  # known: the prior's own rate and volume
    assert (new.is_guess, known.is_guess) == (True, False)
    assert litres([], 400.0).is_guess
    tails = [np.searchsorted(np.cumsum(each.by_end[-1]), 0.95) / mean_L(each.by_end)[-1] for each in (new, known)]
    assert tails[0] > 1.5 * tails[1]


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(1.0, 30.0), max_size=6), st.floats(10.0, 2_000.0), st.floats(1.0, 1_000.0))
def test_watching_longer_without_a_top_up_never_promises_more_oil(
    volume_L: list[float], watched_d: float, longer_d: float
) -> None:
    before, after = litres(volume_L, watched_d), litres(volume_L, watched_d + longer_d)
    width = max(before.by_end.shape[1], after.by_end.shape[1])
    cdf = [np.cumsum(np.pad(each.by_end, ((0, 0), (0, width - each.by_end.shape[1]))), 1) for each in (before, after)]
    assert np.all(cdf[1] >= cdf[0] - 1e-6)
    assert np.all(np.diff(cdf[0], axis=0) <= 1e-6)  # and by a later month never less


def test_the_next_oil_change_is_a_log_normal_interval_that_has_not_ended_yet() -> None:
    edge_d = np.array([0.0, 30.0, 90.0, 200.0])
    found = next_oil_change(np.array([-1_100.0, -700.0, -300.0]), edge_d)
    # two intervals of 400 d: spread² = 2·0.3²/(2 + 1)·(1 + 1/2) = 0.09
    interval = stats.lognorm(0.3, scale=400.0)
    slow = np.diff(interval.cdf(300.0 + edge_d)) / interval.sf(300.0)
    assert found == pytest.approx(slow, abs=1e-12)


def test_a_long_overdue_oil_change_is_near_and_not_never() -> None:
    found = next_oil_change(np.array([-2_000.0, -1_900.0, -1_800.0, -1_700.0]), np.array([0.0, 90.0, 1e9]))
    assert found is not None
    assert found.sum() == pytest.approx(1.0, abs=1e-6)
    assert np.all(found >= 0.0)


def test_fewer_than_two_oil_changes_say_nothing() -> None:
    assert next_oil_change(np.zeros(0), MONTH_D) is None
    assert next_oil_change(np.array([-50.0, -50.0]), MONTH_D) is None


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match=r"top-up of -1\.0 L"):
        litres([-1.0], 100.0)
    with pytest.raises(ValueError, match="watched for -1"):
        litres([], -1.0)
    with pytest.raises(ValueError, match=r"step of 0\.0 L"):
        top_up_demand(np.ones(1), watched_d=9.0, reservoir_L=1.0, edge_d=MONTH_D, step_L=0.0)
    with pytest.raises(ValueError, match="too small"):
        top_up_demand(np.array([900.0]), watched_d=9.0, reservoir_L=900.0, edge_d=MONTH_D, step_L=1e-3)
    with pytest.raises(ValueError, match="must rise from 0"):
        next_oil_change(np.zeros(2), np.array([1.0, 2.0]))
    with pytest.raises(ValueError, match="is not past"):
        next_oil_change(np.array([-3.0, 5.0]), MONTH_D)
