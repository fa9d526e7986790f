"""Demand on any day to come, against Poisson demand, which stays Poisson beyond the horizon."""

import numpy as np
import pytest
from scipy import stats

from scheduler.statistics.future_demand import FutureDemand, poisson_pmf

EDGE_D = np.arange(0.0, 365.0, 7.0)


def poisson_demand(rate_per_d: float, most: int = 120) -> FutureDemand:
    return FutureDemand(EDGE_D, poisson_pmf(rate_per_d * EDGE_D[1:], most))


def test_demand_between_two_edges_is_that_of_an_even_day_between_them() -> None:
    demand = FutureDemand(np.array([0.0, 10.0, 20.0]), np.array([[0.4, 0.6, 0.0], [0.0, 0.2, 0.8]]))
    found = np.diff(demand.cdf_at(np.array([0.0, 5.0, 10.0, 17.5])), axis=1, prepend=0.0)
    assert found == pytest.approx(np.array([[1, 0, 0], [0.7, 0.3, 0.0], [0.4, 0.6, 0.0], [0.1, 0.3, 0.6]]))


def test_poisson_demand_runs_on_as_poisson_beyond_the_horizon() -> None:
    demand, day_d = poisson_demand(0.1), np.array([357.0, 400.0, 900.0])
    found = demand.cdf_at(day_d)
    count = np.arange(found.shape[1])
    for row, day in zip(found, day_d, strict=True):
        assert row == pytest.approx(stats.poisson.cdf(count, 0.1 * day), abs=1e-9)


def test_the_last_quarter_tells_the_rate_beyond() -> None:
    edge_d = np.array([0.0, 100.0, 191.0])  # all is needed in the first hundred days
    demand = FutureDemand(edge_d, np.array([[0.0, 0.0, 1.0], [0.0, 0.0, 1.0]]))
    assert demand.rate_beyond_per_d() == 0.0
    assert demand.cdf_at(np.array([5_000.0]))[0] == pytest.approx([0.0, 0.0, 1.0])


def test_poisson_probabilities_are_those_of_scipy() -> None:
    mean = np.array([0.0, 0.3, 10.0, 700.0])
    slow = stats.poisson.pmf(np.arange(901), mean[:, None])
    assert poisson_pmf(mean, 900) == pytest.approx(slow, abs=1e-12)


def test_demand_that_cannot_be_is_refused() -> None:
    sure = np.array([[0.0, 1.0], [1.0, 0.0]])
    with pytest.raises(ValueError, match="less than by an earlier"):
        FutureDemand(np.array([0.0, 1.0, 2.0]), sure)
    with pytest.raises(ValueError, match="sums"):
        FutureDemand(np.array([0.0, 1.0, 2.0]), sure[::-1] * 0.9)
    with pytest.raises(ValueError, match="do not rise"):
        FutureDemand(np.array([1.0, 2.0, 3.0]), sure[::-1])
    with pytest.raises(ValueError, match="with edges"):
        FutureDemand(np.array([0.0, 1.0]), sure)
    with pytest.raises(ValueError, match="before now"):
        poisson_demand(0.1).cdf_at(np.array([-1.0]))
