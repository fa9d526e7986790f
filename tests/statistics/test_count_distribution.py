"""Distributions of counts: SciPy's binomial, Poisson and Poisson-binomial, and slow convolution."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from scheduler.statistics.count_distribution import CountTable, certainly_zero, mixture, sum_of, sum_of_many

Floats = npt.NDArray[np.float64]


def _changed_or_not(probability: Floats) -> Floats:
    """(2, things, 1): one with this probability, else none."""
    return np.stack([1.0 - probability, probability])[:, :, None]


def _padded(table: Floats, width: int) -> Floats:
    return np.pad(table, (0, max(width - len(table), 0)))[:width]


@pytest.mark.parametrize(
    ("things", "probability"), [(1, 0.3), (2, 0.5), (40, 0.5), (40, 0.01), (700, 0.97), (5000, 0.2)]
)
def test_equal_things_make_a_binomial_count(things: int, probability: float) -> None:
    """SciPy's binomial distribution as reference, also where only a part of the circle is reckoned."""
    found = sum_of_many(_changed_or_not(np.full(things, probability))).probability[0]
    assert _padded(found, things + 1) == pytest.approx(
        stats.binom.pmf(np.arange(things + 1), things, probability), abs=1e-8
    )


def test_what_is_certain_is_counted_once_each() -> None:
    for things in (1, 2, 300):
        found = sum_of_many(_changed_or_not(np.array([1.0, 0.0] * things)))
        assert found.quantile(0.01).tolist() == found.quantile(0.99).tolist() == [things]
        assert found.probability[0, things] == pytest.approx(1.0)


@pytest.mark.parametrize("things", [3, 60, 900])
def test_unequal_things_make_a_poisson_binomial_count(things: int) -> None:
    """SciPy's Poisson-binomial distribution as reference."""
    probability = np.random.default_rng(things).beta(0.4, 0.6, things)  # many near 0 and near 1
    expected = stats.poisson_binom(probability)
    exactly = expected.pmf(np.arange(things + 1))
    found = sum_of_many(_changed_or_not(probability))
    assert _padded(found.probability[0], things + 1) == pytest.approx(exactly, abs=1e-8)
    assert found.mean()[0] == pytest.approx(expected.mean(), abs=1e-5)
    assert found.variance()[0] == pytest.approx(expected.var(), abs=1e-3)
    for level in (0.1, 0.5, 0.9, 0.99):
        assert found.quantile(level)[0] == np.searchsorted(np.cumsum(exactly), level)


def test_many_rare_things_are_poisson_within_the_bound_of_le_cam() -> None:
    """Σ |P(k) − Poisson(k)| < 2 Σ p² (Le Cam 1960, from memory)."""
    probability = np.random.default_rng(1).uniform(0.0, 0.004, 4000)
    found = sum_of_many(_changed_or_not(probability)).probability[0]
    poisson = stats.poisson.pmf(np.arange(len(found)), probability.sum())
    assert np.abs(found - poisson).sum() < 2.0 * (probability**2).sum()


def test_long_tailed_counts_agree_with_slow_convolution() -> None:
    """Geometric counts: the tail of a few falls off far slower than a normal one, and the circle must grow."""
    k = np.arange(600)
    for things in (3, 30):
        each = np.stack([0.03 * 0.97**k, 0.2 * 0.8**k])  # two rows, very unlike
        slow = [np.array([1.0]), np.array([1.0])]
        for _ in range(things):
            slow = [np.convolve(row, one) for row, one in zip(slow, each, strict=True)]
        found = sum_of_many(np.repeat(each.T[:, None], things, axis=1)).probability
        for row, expected in zip(found, slow, strict=True):
            width = max(len(row), len(expected))
            assert _padded(row, width) == pytest.approx(_padded(expected, width), abs=1e-7)


@given(st.integers(0, 10_000), st.integers(1, 40), st.integers(1, 6))
def test_any_counts_agree_with_slow_convolution(seed: int, things: int, terms: int) -> None:
    rng = np.random.default_rng(seed)
    counts = rng.dirichlet(rng.choice([0.1, 1.0, 10.0], terms), size=(things, 2))
    found = sum_of_many(counts.transpose(2, 0, 1))
    for row in range(2):
        slow = np.array([1.0])
        for thing in range(things):
            slow = np.convolve(slow, counts[thing, row])
        width = max(len(slow), found.probability.shape[1])
        assert _padded(found.probability[row], width) == pytest.approx(_padded(slow, width), abs=1e-7)


def test_a_whole_amount_stretches_the_count() -> None:
    once = CountTable(np.array([[0.5, 0.3, 0.2]]))
    assert once.times(3.0).probability[0] == pytest.approx([0.5, 0, 0, 0.3, 0, 0, 0.2])


def test_a_broken_amount_takes_a_whole_neighbour_and_keeps_the_mean() -> None:
    """Of 0.3 each of 10 certain changes takes 1 with probability 0.3: a binomial count (SciPy). Of 2.3: 20 more."""
    ten = CountTable(np.eye(11)[10:])
    expected = stats.binom.pmf(np.arange(11), 10, 0.3)
    assert ten.times(0.3).probability[0] == pytest.approx(expected)
    assert ten.times(2.3).probability[0, 20:] == pytest.approx(expected)
    assert ten.times(2.3).mean()[0] == pytest.approx(23.0)


def test_sums_and_mixtures_do_what_their_names_say() -> None:
    """Binomials of the same p add up (SciPy); a mixture has the mixed probabilities."""
    tables = [CountTable(stats.binom.pmf(np.arange(n + 1), n, 0.4)[None]) for n in (1, 4, 7)]
    summed = sum_of([*tables, certainly_zero(1)])
    assert summed.probability[0] == pytest.approx(stats.binom.pmf(np.arange(13), 12, 0.4))
    mixed = mixture([0.25, 0.75], tables[:2])
    assert mixed.at_least(1)[0] == pytest.approx(0.25 * 0.4 + 0.75 * (1.0 - 0.6**4))
    assert mixed.at_least(0)[0] == 1.0
    assert mixed.at_least(5)[0] == 0.0


def test_a_quantile_is_the_smallest_count_that_is_enough() -> None:
    table = CountTable(np.array([[0.5, 0.25, 0.25], [0.0, 1.0, 0.0]]))
    assert table.quantile(0.5).tolist() == [0, 1]
    assert table.quantile(0.51).tolist() == [1, 1]
    assert table.quantile(0.76).tolist() == [2, 1]


def test_senseless_questions_are_refused() -> None:
    table = certainly_zero(2)
    for level in (0.0, 1.0, np.nan):
        with pytest.raises(ValueError, match=f"level {level}"):
            table.quantile(level)
    for amount in (0.0, -1.0, np.inf, np.nan):
        with pytest.raises(ValueError, match=f"amount {amount}"):
            table.times(amount)
    with pytest.raises(ValueError, match="2 periods do not go with 3"):
        table.and_also(certainly_zero(3))
