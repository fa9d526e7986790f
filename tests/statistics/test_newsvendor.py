"""What money says of stock, against textbook examples."""

import numpy as np
import pytest
from scipy import stats

from scheduler.statistics.future_demand import poisson_pmf
from scheduler.statistics.newsvendor import best_quantity, expected_cost, service_level


def test_the_textbook_newsvendor_with_normal_demand_orders_56_6() -> None:
    # Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., newsvendor with normal demand: h = 0.18, p = 0.70,
    # N(50, 8²): S* = 56.6, cost 1.9976; from memory, recomputed below with the normal loss function
    ratio = service_level(0.70, 0.18)
    z = stats.norm.ppf(ratio)
    assert 50.0 + 8.0 * z == pytest.approx(56.6, abs=0.05)
    cost = (0.70 + 0.18) * 8.0 * stats.norm.pdf(z)
    assert cost == pytest.approx(1.9976, abs=5e-4)
    step = 0.02  # a fine lattice in place of the line
    edge = step * (np.arange(5_001) - 0.5)
    demand = np.diff(stats.norm.cdf(edge, 50.0, 8.0))
    best = best_quantity(demand, cost_short=0.70, cost_left=0.18)
    assert step * best == pytest.approx(56.6, abs=0.05)
    found = step * expected_cost(demand, np.array([best]), cost_short=0.70, cost_left=0.18)
    assert found[0] == pytest.approx(1.9976, abs=2e-3)


def test_a_backorder_of_25_and_a_leftover_of_15_keep_eleven() -> None:
    # Hopp & Spearman, Factory Physics, section 2.4.2, costs of its base stock example (from memory):
    # b = 25, h = 15, Poisson mean 10; G(10) = 0.583 < 25/40 ≤ G(11) = 0.697
    demand = poisson_pmf(np.array([10.0]), 60)[0]
    assert service_level(25.0, 15.0) == 0.625
    assert stats.poisson.ppf(0.625, 10.0) == 11
    assert best_quantity(demand, cost_short=25.0, cost_left=15.0) == 11


@pytest.mark.parametrize(("cost_short", "cost_left"), [(1.0, 1.0), (40.0, 1.0), (0.2, 3.0)])
def test_no_quantity_costs_less_than_the_best(cost_short: float, cost_left: float) -> None:
    demand = np.random.default_rng(3).dirichlet(np.full(30, 0.4))
    every = expected_cost(demand, np.arange(30), cost_short=cost_short, cost_left=cost_left)
    assert int(np.argmin(every)) == best_quantity(demand, cost_short=cost_short, cost_left=cost_left)


def test_what_a_wrong_order_costs_is_the_mean_over_drawn_demand() -> None:
    rng = np.random.default_rng(6)
    drawn = rng.poisson(4.0, 200_000)
    found = expected_cost(poisson_pmf(np.array([4.0]), 40)[0], np.array([2, 6]), cost_short=30.0, cost_left=5.0)
    for quantity, cost in zip((2, 6), found, strict=True):
        counted = 30.0 * np.maximum(drawn - quantity, 0) + 5.0 * np.maximum(quantity - drawn, 0)
        assert cost == pytest.approx(counted.mean(), rel=0.01)


def test_a_cost_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match=r"cost 0\.0 of a piece short"):
        service_level(0.0, 1.0)
    with pytest.raises(ValueError, match="left over"):
        expected_cost(np.ones(1), np.zeros(1, dtype=np.int64), cost_short=1.0, cost_left=np.inf)
