"""Stock decisions against Poisson formulas day by day, a textbook's base stock, and counting piece by piece."""

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from scheduler.statistics.arrival import NOTHING_ON_ORDER, Lateness, LeadTime, OnOrder, lead_time
from scheduler.statistics.future_demand import FutureDemand, poisson_pmf
from scheduler.statistics.stock_balance import Shelf
from scheduler.statistics.stock_cover import USED_IN_TIME, OrderRule, cover, order_at, reorder_level
from scheduler.statistics.top_up_demand import top_up_demand
from tests.statistics.drawn_demand import EDGE_D, demand_of, drawn_lines, owed_by_counting, poisson_paths

DAY_D = np.arange(0.0, 366.0)
LATE = Lateness(0.0, 7.0, 0)


def poisson_demand(rate_per_d: float, edge_d: np.ndarray = DAY_D) -> FutureDemand:
    mean = rate_per_d * edge_d[1:]
    return FutureDemand(edge_d, poisson_pmf(mean, int(mean[-1] + 9.0 * np.sqrt(mean[-1]) + 12.0)))


def surely(lead_d: float) -> LeadTime:
    return LeadTime(np.array([lead_d]), np.ones(1))


def keeping(pieces: int) -> Shelf:
    return Shelf(np.array([pieces]), np.array([np.inf]))


# Hopp & Spearman, Factory Physics, section 2.4.2: Poisson demand of mean 10 in the lead time; G(r) as its table
# has it, from memory, and as scipy.stats.poisson.cdf(r, 10) has it
FACTORY_PHYSICS = {8: 0.333, 9: 0.458, 10: 0.583, 11: 0.697, 12: 0.792, 13: 0.864, 14: 0.917, 15: 0.951, 16: 0.973}


@pytest.mark.parametrize(("kept", "level"), FACTORY_PHYSICS.items())
def test_the_base_stock_of_the_textbook_reaches_the_level_of_its_table(kept: int, level: float) -> None:
    assert stats.poisson.cdf(kept, 10.0) == pytest.approx(level, abs=5e-4)
    demand = poisson_demand(10.0 / 30.0)
    assert reorder_level(demand, surely(30.0), review_d=0.0, level=level - 1e-3) == kept
    assert reorder_level(demand, surely(30.0), review_d=0.0, level=level + 1e-3) == kept + 1


def test_a_reorder_level_sums_over_the_lead_times() -> None:
    lead = LeadTime(np.array([10.0, 30.0, 90.0]), np.array([0.5, 0.3, 0.2]))
    found = reorder_level(poisson_demand(0.1), lead, review_d=14.0, level=0.95)
    for kept in (found - 1, found):
        reached = sum(
            p * stats.poisson.cdf(kept, 0.1 * (d + 14.0)) for d, p in zip(lead.day_d, lead.share, strict=True)
        )
        assert (reached >= 0.95) == (kept == found)


def test_a_lead_time_beyond_the_horizon_runs_on_as_poisson() -> None:
    found = reorder_level(poisson_demand(0.1), surely(500.0), review_d=0.0, level=0.9)
    assert found == stats.poisson.ppf(0.9, 50.0)


@pytest.mark.parametrize(("level", "kept"), [(0.8, 0), (0.95, 1), (0.995, 2)])
def test_of_a_slow_mover_as_many_are_kept_as_the_level_asks_for(level: float, kept: int) -> None:
    # one change in 400 days, 60 days to get one: needed with probability 1 − e^−0.15 = 0.139
    assert stats.poisson.ppf(level, 60.0 / 400.0) == kept
    assert reorder_level(poisson_demand(1.0 / 400.0), surely(60.0), review_d=0.0, level=level) == kept


def test_an_order_is_due_on_the_last_day_that_keeps_half_of_the_risk_until_it_comes() -> None:
    lead = LeadTime(np.array([20.0, 27.0, 41.0]), np.array([0.3, 0.5, 0.2]))
    found = cover(poisson_demand(0.1), keeping(20), NOTHING_ON_ORDER, LATE, OrderRule(lead, level=0.9))
    slow = [sum(lead.share * stats.poisson.cdf(20, 0.1 * (day + lead.day_d))) for day in range(300)]
    last = max(day for day, served in enumerate(slow) if served >= 0.95)
    assert found.order_by_d == last
    assert found.cycle_service == pytest.approx(slow[0], abs=1e-6)
    assert not found.is_late


def test_an_order_covers_its_lead_time_and_the_review_after_it_in_whole_packs() -> None:
    rule = OrderRule(surely(21.0), level=0.95, review_d=28.0, pack=6)
    found = order_at(50.0, poisson_demand(0.3), keeping(20), NOTHING_ON_ORDER, LATE, rule)
    asked = stats.poisson.ppf(0.975, 0.3 * (50.0 + 21.0 + 28.0)) - 20
    assert found.asked == asked
    assert found.quantity == 6 * np.ceil(asked / 6)
    assert not found.may_expire


def test_what_is_on_order_is_not_ordered_again() -> None:
    rule = OrderRule(surely(21.0), level=0.95, review_d=28.0)
    demand, coming = poisson_demand(0.3), OnOrder(np.array([9]), np.array([10.0]))
    alone, with_line = (
        order_at(50.0, demand, keeping(20), lines, LATE, rule) for lines in (NOTHING_ON_ORDER, coming)
    )
    assert alone.asked - with_line.asked == 9


def test_no_more_is_ordered_than_is_used_within_the_shelf_life() -> None:
    rule = OrderRule(surely(30.0), level=0.99, review_d=180.0, shelf_life_d=60.0)
    found = order_at(0.0, poisson_demand(0.1), keeping(2), NOTHING_ON_ORDER, LATE, rule)
    used = [q for q in range(40) if stats.poisson.sf(2 + q - 1, 0.1 * 90.0) >= USED_IN_TIME]
    assert found.quantity == max(used)
    assert found.is_cut
    assert not found.may_expire


def test_shelf_life_beyond_the_horizon_counts_on_poisson_demand() -> None:
    rule = OrderRule(surely(30.0), level=0.99, review_d=300.0, shelf_life_d=970.0, pack=50)
    found = order_at(0.0, poisson_demand(0.1), keeping(0), NOTHING_ON_ORDER, LATE, rule)
    used = max(q for q in range(200) if stats.poisson.sf(q - 1, 0.1 * 1000.0) >= USED_IN_TIME)
    assert 50 < used < 100  # so that one pack is used in time and two are not
    assert (found.quantity, found.is_cut) == (50, False)


def test_a_first_pack_is_ordered_though_it_may_expire_and_that_is_said() -> None:
    rule = OrderRule(surely(60.0), level=0.99, shelf_life_d=100.0, pack=4)
    found = cover(poisson_demand(1.0 / 400.0), keeping(0), NOTHING_ON_ORDER, LATE, rule)
    assert (found.order_by_d, found.is_late) == (0.0, True)
    assert found.order is not None
    assert (found.order.quantity, found.order.may_expire) == (4, True)


def test_a_full_shelf_needs_no_order_within_the_horizon() -> None:
    found = cover(poisson_demand(0.1), keeping(200), NOTHING_ON_ORDER, LATE, OrderRule(surely(30.0)))
    assert (found.order_by_d, found.order, found.is_late) == (None, None, False)
    assert found.fill_rate == pytest.approx(1.0)
    assert found.run_out == pytest.approx(0.0, abs=1e-9)


def test_nothing_is_short_where_nothing_is_needed() -> None:
    found = cover(poisson_demand(0.0), keeping(0), NOTHING_ON_ORDER, LATE, OrderRule(surely(30.0)))
    assert (found.reorder_level, found.order_by_d, found.fill_rate, found.cycle_service) == (0, None, 1.0, 1.0)


def test_the_fill_rate_without_supply_is_what_the_shelf_holds_of_the_demand() -> None:
    edge_d, window_d = np.linspace(0.0, 360.0, 13), 180.0
    found = cover(
        poisson_demand(0.1, edge_d), keeping(15), NOTHING_ON_ORDER, LATE, OrderRule(surely(30.0), window_d=window_d)
    )
    count = np.arange(60)
    met = np.minimum(count, 15) @ stats.poisson.pmf(count, 18.0)
    assert found.fill_rate == pytest.approx(met / 18.0, abs=1e-6)


def test_fill_rate_and_shortage_are_those_of_counting_piece_by_piece() -> None:
    rng = np.random.default_rng(8)
    paths, shelf = poisson_paths(rng, 40.0), keeping(8)
    on_order = OnOrder(np.array([10, 14]), np.array([70.0, 200.0]))
    comes = drawn_lines(rng, on_order, LATE)
    owed = owed_by_counting(paths, shelf, comes)
    found = cover(demand_of(paths), shelf, on_order, LATE, OrderRule(surely(14.0)))
    assert found.expected_short == pytest.approx(owed.mean(axis=0), abs=0.15)
    # a week's supply comes before or after its demand: counting it first, then last, brackets the truth
    before = np.concatenate([np.zeros((len(owed), 1), dtype=int), owed[:, :-1]], axis=1)
    unmet_first = np.clip(owed - np.maximum(before - comes, 0), 0, paths).sum() / paths.sum()
    late_owed = owed_by_counting(paths, shelf, np.concatenate([comes[:, :1] * 0, comes[:, :-1]], axis=1))
    late_before = np.concatenate([np.zeros((len(owed), 1), dtype=int), late_owed[:, :-1]], axis=1)
    late_comes = np.concatenate([comes[:, :1] * 0, comes[:, :-1]], axis=1)
    unmet_last = np.clip(late_owed - np.maximum(late_before - late_comes, 0), 0, paths).sum() / paths.sum()
    assert 1.0 - unmet_last - 0.005 <= found.fill_rate <= 1.0 - unmet_first + 0.005
    assert unmet_last - unmet_first < 0.05


def test_monthly_periods_tell_nearly_what_weekly_ones_tell() -> None:
    on_order, rule = OnOrder(np.array([12]), np.array([40.0])), OrderRule(lead_time(45.0, LATE), level=0.9)
    weekly, monthly = (
        cover(poisson_demand(0.1, edge_d), keeping(10), on_order, LATE, rule)
        for edge_d in (np.arange(0.0, 365.0, 7.0), np.linspace(0.0, 364.0, 13))
    )
    assert weekly.run_out[[12, 25, 51]] == pytest.approx(
        np.interp(EDGE_D[[13, 26, 52]], np.linspace(0.0, 364.0, 13)[1:], monthly.run_out), abs=0.05
    )
    assert weekly.order_by_d is not None
    assert weekly.order_by_d == pytest.approx(monthly.order_by_d, abs=10.0)


def test_litres_of_top_up_are_covered_like_pieces() -> None:
    edge_d = np.linspace(0.0, 360.0, 13)
    oil = top_up_demand(np.array([5.0, 9.0]), watched_d=200.0, reservoir_L=200.0, edge_d=edge_d, step_L=1.0)
    demand = FutureDemand(edge_d, oil.by_end)
    kept = reorder_level(demand, surely(30.0), review_d=30.0, level=0.9)
    assert oil.by_end[1, :kept].sum() < 0.9 <= oil.by_end[1, : kept + 1].sum()
    found = cover(demand, keeping(60), NOTHING_ON_ORDER, LATE, OrderRule(surely(30.0), review_d=30.0, pack=20))
    assert found.run_out == pytest.approx(oil.by_end[:, 61:].sum(axis=1), abs=1e-9)


def test_an_assumed_lead_time_is_said() -> None:
    rule = OrderRule(lead_time(None, LATE))
    assert cover(poisson_demand(0.1, EDGE_D), keeping(5), NOTHING_ON_ORDER, LATE, rule).is_lead_time_assumed


@st.composite
def parts(draw: st.DrawFn) -> tuple[FutureDemand, Shelf, OnOrder, OrderRule]:
    demand = poisson_demand(draw(st.floats(0.0, 0.15)), EDGE_D)
    shelf = Shelf(
        np.array([draw(st.integers(0, 10)), draw(st.integers(0, 10))]),
        np.array([np.inf, draw(st.floats(-5.0, 500.0))]),
    )
    on_order = OnOrder(np.array([draw(st.integers(0, 10))]), np.array([draw(st.floats(-7.0, 200.0))]))
    rule = OrderRule(
        lead_time(draw(st.floats(0.0, 120.0)), LATE),
        level=draw(st.floats(0.3, 0.98)),
        review_d=draw(st.floats(0.0, 60.0)),
        pack=draw(st.integers(1, 12)),
        shelf_life_d=draw(st.one_of(st.just(np.inf), st.floats(20.0, 900.0))),
    )
    return demand, shelf, on_order, rule


def with_level(rule: OrderRule, level: float) -> OrderRule:
    return OrderRule(rule.lead, level, rule.review_d, rule.pack, rule.shelf_life_d)


@settings(max_examples=30, deadline=None)
@given(parts(), st.floats(0.3, 0.98))
def test_a_higher_level_never_orders_later_nor_less_on_a_day(
    part: tuple[FutureDemand, Shelf, OnOrder, OrderRule], other: float
) -> None:
    demand, shelf, on_order, rule = part
    low, high = (with_level(rule, level) for level in sorted((rule.level, other)))
    relaxed, strict = (cover(demand, shelf, on_order, LATE, each) for each in (low, high))
    horizon_d = float(EDGE_D[-1])
    days = [horizon_d if c.order_by_d is None else c.order_by_d for c in (strict, relaxed)]
    assert days[0] <= days[1]
    assert strict.reorder_level >= relaxed.reorder_level
    orders = [order_at(days[0], demand, shelf, on_order, LATE, each) for each in (high, low)]
    assert orders[0].quantity >= orders[1].quantity
    assert orders[0].asked >= orders[1].asked


@settings(max_examples=30, deadline=None)
@given(parts())
def test_packs_are_whole_and_only_the_first_may_expire(part: tuple[FutureDemand, Shelf, OnOrder, OrderRule]) -> None:
    demand, shelf, on_order, rule = part
    found = cover(demand, shelf, on_order, LATE, rule)
    assert (found.order is None) == (found.order_by_d is None)
    assert np.all((found.run_out >= 0.0) & (found.run_out <= 1.0))
    assert 0.0 <= found.fill_rate <= 1.0
    if found.order is not None:
        assert found.order.quantity % rule.pack == 0
        assert found.order.quantity >= rule.pack
        assert found.order.quantity >= found.order.asked or found.order.is_cut
        assert not found.order.may_expire or found.order.quantity == rule.pack


@settings(max_examples=20, deadline=None)
@given(parts(), st.integers(1, 5))
def test_more_stock_never_orders_earlier(part: tuple[FutureDemand, Shelf, OnOrder, OrderRule], more: int) -> None:
    demand, shelf, on_order, rule = part
    fuller = Shelf(shelf.quantity + np.array([more, 0]), shelf.expires_d)
    before, after = (cover(demand, each, on_order, LATE, rule) for each in (shelf, fuller))
    if before.order_by_d is not None and after.order_by_d is not None:
        assert after.order_by_d >= before.order_by_d
    assert after.order_by_d is None or before.order_by_d is not None
    assert np.all(after.run_out <= before.run_out + 1e-7)
    assert after.fill_rate >= before.fill_rate - 1e-6


def test_forty_parts_over_a_year_of_weeks_take_no_noticeable_time() -> None:
    demand, lines = poisson_demand(0.1, EDGE_D), OnOrder(np.array([10]), np.array([20.0]))
    rule = OrderRule(lead_time(30.0, LATE), shelf_life_d=1_000.0)
    began_s = time.process_time()
    for kept in range(40):
        cover(demand, keeping(kept % 20), lines, LATE, rule)
    assert time.process_time() - began_s < 1.0  # a third of that where it was measured, with others at work


def test_rules_that_cannot_be_are_refused() -> None:
    lead = surely(10.0)
    with pytest.raises(ValueError, match="level 1"):
        OrderRule(lead, level=1.0)
    with pytest.raises(ValueError, match="review after -1"):
        OrderRule(lead, review_d=-1.0)
    with pytest.raises(ValueError, match="pack of 0"):
        OrderRule(lead, pack=0)
    with pytest.raises(ValueError, match="shelf life of 0"):
        OrderRule(lead, shelf_life_d=0.0)
    with pytest.raises(ValueError, match="window of 0"):
        OrderRule(lead, window_d=0.0)
