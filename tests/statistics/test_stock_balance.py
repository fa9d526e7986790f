"""What is owed to a shelf, against formulas for Poisson demand and against counting lot by lot."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from scheduler.statistics.arrival import NOTHING_ON_ORDER, Lateness, OnOrder, arrived_by
from scheduler.statistics.future_demand import FutureDemand, poisson_pmf
from scheduler.statistics.stock_balance import MOST_LINES, Shelf, balance, ever_short
from tests.statistics.drawn_demand import (
    DRAWS,
    EDGE_D,
    demand_of,
    drawn_lines,
    mixed_paths,
    owed_by_counting,
    poisson_paths,
    renewal_paths,
)

WEEK_D = EDGE_D[1:]
LATE = Lateness(0.0, 7.0, 0)


def keeping(*pieces: int) -> Shelf:
    return Shelf(np.array(pieces), np.full(len(pieces), np.inf))


def ever(demand: FutureDemand, shelf: Shelf, on_order: OnOrder) -> np.ndarray:
    return ever_short(balance(demand, shelf, on_order, LATE, WEEK_D), demand, shelf, on_order, LATE)


def test_a_shelf_against_poisson_demand_owes_what_the_base_stock_formula_says() -> None:
    demand = FutureDemand(EDGE_D, poisson_pmf(0.1 * WEEK_D, 120))
    found = balance(demand, keeping(8, 4), NOTHING_ON_ORDER, LATE, WEEK_D)
    mean = 0.1 * WEEK_D
    assert found.short_by_more() == pytest.approx(stats.poisson.sf(12, mean), abs=1e-9)
    # Hopp & Spearman, Factory Physics, section 2.4.2: B(r) = θ p(r) + (θ − r)[1 − G(r)]; from memory
    backorders = mean * stats.poisson.pmf(12, mean) + (mean - 12) * stats.poisson.sf(12, mean)
    assert found.expected_short() == pytest.approx(backorders, abs=1e-6)


def test_an_expired_lot_is_never_used() -> None:
    demand = FutureDemand(EDGE_D, poisson_pmf(0.05 * WEEK_D, 60))
    with_expired = Shelf(np.array([50, 7, 9]), np.array([-3.0, np.inf, 0.0]))
    for shelf in (with_expired, keeping(7)):
        assert shelf.usable == 7
        found = balance(demand, shelf, NOTHING_ON_ORDER, LATE, WEEK_D).short_by_more()
        assert found == pytest.approx(stats.poisson.sf(7, 0.05 * WEEK_D), abs=1e-9)


def test_a_lot_that_nobody_needs_in_time_is_lost() -> None:
    by_end = np.zeros((52, 4))  # three pieces, all in the last week, when the lot is gone
    by_end[:51, 0], by_end[51, 3] = 1.0, 1.0
    shelf = Shelf(np.array([3]), np.array([200.0]))
    found = balance(FutureDemand(EDGE_D, by_end), shelf, NOTHING_ON_ORDER, LATE, WEEK_D)
    assert found.expected_short()[50:] == pytest.approx([0.0, 3.0])


@pytest.mark.parametrize(
    ("kind", "mean", "error"),
    [("poisson", 5, 0.03), ("poisson", 60, 0.03), ("mixed", 20, 0.03), ("renewal", 20, 0.10), ("renewal", 5, 0.10)],
)
def test_lots_that_expire_leave_what_counting_leaves(kind: str, mean: float, error: float) -> None:
    rng = np.random.default_rng(4)
    paths = {
        "poisson": lambda: poisson_paths(rng, mean),
        "mixed": lambda: mixed_paths(rng, mean),
        "renewal": lambda: renewal_paths(rng, mean, positions=20, log_sd=0.1),
    }[kind]()
    demand, comes = demand_of(paths), np.zeros((DRAWS, 52), dtype=int)
    for week, used in ((13, 1.0), (26, 1.5)):
        lots = np.array([max(int(used * mean * week / 52), 1), max(int(0.35 * mean), 1)])
        shelf = Shelf(lots, np.array([7.0 * week, np.inf]))
        counted = (owed_by_counting(paths, shelf, comes) > 0).mean(axis=0)
        found = balance(demand, shelf, NOTHING_ON_ORDER, LATE, WEEK_D).short_by_more()
        assert np.max(np.abs(found - counted)) < error + 0.01  # 0.01: three times the noise of the draws


@pytest.mark.parametrize("kind", ["poisson", "mixed", "renewal"])
def test_being_short_before_a_late_line_comes_counts(kind: str) -> None:
    rng = np.random.default_rng(5)
    paths = {
        "poisson": lambda: poisson_paths(rng, 5.0),
        "mixed": lambda: mixed_paths(rng, 20.0),
        "renewal": lambda: renewal_paths(rng, 5.0, positions=20, log_sd=0.25),
    }[kind]()
    mean = int(np.round(paths.sum(axis=1).mean()))
    on_order = OnOrder(np.array([int(0.4 * mean) + 1] * 2), np.array([60.0, 160.0]))
    shelf = keeping(int(0.3 * mean))
    counted = owed_by_counting(paths, shelf, drawn_lines(rng, on_order, LATE)) > 0
    found = ever(demand_of(paths), shelf, on_order)
    error = found - np.maximum.accumulate(counted, axis=1).mean(axis=0)
    assert error.min() > -0.02 - 0.01
    assert error.max() < 0.04 + 0.01


def test_of_two_lines_one_must_come_by_the_second_and_both_by_the_fourth_week() -> None:
    by_end = np.zeros((52, 9))  # surely 4 from the second week, 8 from the fourth
    by_end[:1, 0], by_end[1:3, 4], by_end[3:, 8] = 1.0, 1.0, 1.0
    on_order = OnOrder(np.array([4, 4]), np.array([10.0, 16.0]))
    found = ever(FutureDemand(EDGE_D, by_end), keeping(0), on_order)
    (first, both_a), (second, both_b) = arrived_by(on_order.expected_d, np.array([14.0, 28.0]), LATE)
    none_then = (both_a - first) * (both_b - second)  # none by the second week, though both by the fourth
    assert found[1] == pytest.approx((1.0 - first) * (1.0 - second), abs=1e-9)
    assert found[3] == pytest.approx(1.0 - (both_a * both_b - none_then), abs=1e-9)


def test_many_lines_are_followed_to_the_careful_side() -> None:
    by_end = np.zeros((52, 9))
    by_end[:, 0] = 1.0
    by_end[20:, 0], by_end[20:, 8] = 0.0, 1.0
    demand = FutureDemand(EDGE_D, by_end)
    lines = MOST_LINES + 3
    on_order = OnOrder(np.ones(lines, dtype=np.int64), np.linspace(100.0, 150.0, lines))
    found = ever(demand, keeping(0), on_order)
    every = np.prod(arrived_by(on_order.expected_d, np.array([147.0]), LATE))
    assert found[20] >= 1.0 - every - 1e-9


@st.composite
def shelves(draw: st.DrawFn) -> tuple[FutureDemand, Shelf, OnOrder]:
    rate_per_d = draw(st.floats(0.0, 0.1))
    lots, lines = draw(st.integers(1, 3)), draw(st.integers(0, 3))
    quantity = draw(st.lists(st.integers(0, 8), min_size=lots, max_size=lots))
    day = st.floats(-10.0, 420.0)
    expires_d = draw(st.lists(st.one_of(st.just(np.inf), day), min_size=lots, max_size=lots))
    ordered = draw(st.lists(st.integers(0, 6), min_size=lines, max_size=lines))
    expected_d = draw(st.lists(st.floats(-7.0, 300.0), min_size=lines, max_size=lines))
    demand = FutureDemand(EDGE_D, poisson_pmf(rate_per_d * WEEK_D, 90))
    return (
        demand,
        Shelf(np.array(quantity), np.array(expires_d)),
        OnOrder(np.array(ordered, dtype=np.int64), np.array(expected_d, dtype=float)),
    )


@settings(max_examples=25, deadline=None)
@given(shelves(), st.integers(1, 5), st.one_of(st.just(np.inf), st.floats(1.0, 400.0)))
def test_one_lot_more_never_makes_a_shelf_run_out_sooner(
    case: tuple[FutureDemand, Shelf, OnOrder], more: int, expires_d: float
) -> None:
    demand, shelf, on_order = case
    fuller = Shelf(np.append(shelf.quantity, more), np.append(shelf.expires_d, expires_d))
    before, after = ever(demand, shelf, on_order), ever(demand, fuller, on_order)
    assert np.all(after <= before + 1e-7)
    assert np.all(np.diff(after) >= 0.0)


@settings(max_examples=25, deadline=None)
@given(shelves(), st.floats(0.0, 100.0))
def test_earlier_supply_never_makes_a_shelf_run_out_sooner(
    case: tuple[FutureDemand, Shelf, OnOrder], earlier_d: float
) -> None:
    demand, shelf, on_order = case
    sooner = OnOrder(on_order.quantity, np.maximum(on_order.expected_d - earlier_d, -7.0))
    assert np.all(ever(demand, shelf, sooner) <= ever(demand, shelf, on_order) + 1e-9)


def test_a_shelf_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="below 0"):
        Shelf(np.array([-1]), np.array([np.inf]))
    with pytest.raises(ValueError, match="not a number"):
        Shelf(np.array([1]), np.array([np.nan]))
    with pytest.raises(ValueError, match="days of expiry"):
        Shelf(np.array([1, 2]), np.array([np.inf]))
