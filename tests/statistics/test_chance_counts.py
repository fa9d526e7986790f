"""Sums of things with chances of their own: SciPy's Poisson-binomial distribution, and slow convolution."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from scheduler.statistics.chance_counts import ChanceCounts, sum_of_chances
from scheduler.statistics.count_distribution import CountTable

Floats = npt.NDArray[np.float64]
ONE = np.ones((1, 1))


def _pmf(table: CountTable, row: int, width: int) -> Floats:
    return np.pad(table.probability[row], (0, max(width - table.probability.shape[1], 0)))[:width]


@pytest.mark.parametrize(
    ("things", "largest"), [(1, 1.0), (7, 1.0), (500, 0.05), (500, 0.4), (500, 1.0), (3_000, 0.02)]
)
def test_changes_that_are_likely_for_some_and_unlikely_for_others(things: int, largest: float) -> None:
    """SciPy's Poisson-binomial distribution as reference, for chances near and far from their mean."""
    chance = np.random.default_rng(things).uniform(0.0, largest, things)
    found = sum_of_chances([ChanceCounts(chance[:, None], ONE)])
    expected = stats.poisson_binom(chance).pmf(np.arange(things + 1))
    assert _pmf(found, 0, things + 1) == pytest.approx(expected, abs=1e-7)


def test_planned_changes_are_counted_for_certain_among_those_that_may_come() -> None:
    """SciPy's binomial distribution as reference, beyond what is certain."""
    chance = np.concatenate([np.full(400, 0.03), np.ones(5), np.zeros(30)])
    found = sum_of_chances([ChanceCounts(chance[:, None], ONE)])
    assert _pmf(found, 0, 60) == pytest.approx(stats.binom.pmf(np.arange(60) - 5, 400, 0.03), abs=1e-7)


def test_when_half_are_sure_to_come_no_point_of_the_circle_is_lost() -> None:
    """At e = 1/2 the generating function of each is 0 half round the circle (SciPy's binomial as reference)."""
    found = sum_of_chances([ChanceCounts(np.full((40, 1), 0.5), ONE)])
    assert _pmf(found, 0, 41) == pytest.approx(stats.binom.pmf(np.arange(41), 40, 0.5), abs=1e-7)


@given(st.integers(0, 10_000), st.integers(1, 30), st.integers(1, 4), st.sampled_from([0.01, 0.2, 1.0]))
def test_any_chances_and_numbers_of_some_classes_agree_with_slow_convolution(
    seed: int, things: int, terms: int, largest: float
) -> None:
    rng = np.random.default_rng(seed)
    classes = [
        ChanceCounts(rng.uniform(0.0, largest, (things, 2)), rng.dirichlet(np.full(width, 0.7), 2))
        for width in (terms, 2)
    ]
    found = sum_of_chances(classes)
    for row in range(2):
        slow = np.array([1.0])
        for some in classes:
            for chance in some.chance[:, row]:
                slow = np.convolve(slow, np.concatenate([[1.0 - chance], chance * some.number[row]]))
        assert _pmf(found, row, len(slow)) == pytest.approx(slow, abs=2e-7)
