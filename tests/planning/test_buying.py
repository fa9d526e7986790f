"""What to buy by when: lots that expire, packs, lead times that nobody told, and what it costs to be wrong."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from scheduler.planning.buying import HOLDING_SHARE_PER_YEAR, Buying, OrderingHabit, Stock, plan_buying
from scheduler.planning.demand import ItemDemand
from scheduler.planning.plant_columns import Floats
from scheduler.statistics.arrival import ASSUMED_LEAD_TIME_D, learn_lateness
from scheduler.statistics.count_distribution import CountTable
from scheduler.statistics.renewal_demand import PartDemand
from tests.planning.small_plant import ELEMENT, NAN, OIL, Position, System, plant

EDGE_D: Floats = np.arange(0.0, 189.0, 7.0)
PUNCTUAL = learn_lateness(np.zeros(500))
HABIT = OrderingHabit(0.95, 7.0)


def item_of(per_week: float, *, step: float = 1.0, users: tuple[int, ...] = (0,), fluid: bool = False) -> ItemDemand:
    """Poisson demand of so many steps a week."""
    count = np.arange(int(60.0 * per_week + 80.0))
    within = np.tile(stats.poisson.pmf(count, per_week), (len(EDGE_D) - 1, 1))
    by_end = stats.poisson.pmf(count, per_week * np.arange(1, len(EDGE_D))[:, None])
    tables = PartDemand(CountTable(within), CountTable(by_end / by_end.sum(axis=1, keepdims=True)))
    return ItemDemand(OIL.code if fluid else ELEMENT, fluid, step, users, tables)


def stock_of(*lots: tuple[float, float], ordered: tuple[tuple[float, float], ...] = (), **more: object) -> Stock:
    """Lots and orders as amounts with their days."""
    told = {"pack": 1.0, "lead_time_d": 14.0, "shelf_life_d": None, "price": None} | more
    return Stock(
        lot=np.array([amount for amount, _ in lots]),
        lot_expires_d=np.array([day for _, day in lots]),
        ordered=np.array([amount for amount, _ in ordered]),
        ordered_for_d=np.array([day for _, day in ordered]),
        **told,  # type: ignore[arg-type]
    )


def bought(item: ItemDemand, stock: Stock, *systems: System, habit: OrderingHabit = HABIT) -> Buying:
    positions = [Position(f"P{row}", system.code) for row, system in enumerate(systems)]
    columns = plant(*positions, systems=systems) if systems else plant(Position())
    return plan_buying(columns, item, EDGE_D, stock, PUNCTUAL, habit)


def order_day(found: Buying) -> float:
    assert found.cover.order_by_d is not None
    return found.cover.order_by_d


def test_the_order_is_placed_when_poisson_tables_say_that_the_stock_lasts_no_longer() -> None:
    """P(Poisson ≤ 10) ≥ 0.95 up to a mean of 6.169 (half the χ² quantile of 22 degrees, any table): 6.169 weeks."""
    assert stats.chi2.ppf(0.05, 22) / 2.0 == pytest.approx(6.169, abs=0.001)
    found = bought(item_of(1.0), stock_of((10.0, np.inf)), habit=replace(HABIT, level=0.90))  # half of the risk
    assert order_day(found) == pytest.approx(6.169 * 7.0 - 14.0, abs=1.6)
    assert not found.cover.is_late


def test_more_on_the_shelf_or_on_order_never_makes_the_order_earlier() -> None:
    days = [order_day(bought(item_of(1.0), stock_of((amount, np.inf)))) for amount in (4.0, 6.0, 9.0, 13.0)]
    assert days == sorted(days)
    assert days[0] < days[-1]
    with_line = bought(item_of(1.0), stock_of((6.0, np.inf), ordered=((4.0, 10.0),)))
    assert order_day(with_line) > order_day(bought(item_of(1.0), stock_of((6.0, np.inf))))


def test_a_lot_that_has_expired_is_not_counted_on() -> None:
    fresh = (5.0, np.inf)
    expired = bought(item_of(1.0), stock_of(fresh, (20.0, -1.0), price=40.0), System(late_cost=500.0))
    without = bought(item_of(1.0), stock_of(fresh, price=40.0), System(late_cost=500.0))
    assert order_day(expired) == order_day(without)
    assert expired.cover.order == without.cover.order
    assert expired.cost_if_wrong == without.cost_if_wrong


def test_a_lot_that_expires_soon_is_counted_on_until_then() -> None:
    keeps, expires, nothing = (
        bought(item_of(1.0), stock_of((8.0, np.inf), (4.0, day))) for day in (np.inf, 21.0, 0.0)
    )
    assert order_day(nothing) < order_day(expires) < order_day(keeps)


@pytest.mark.parametrize(("pack", "step", "pieces"), [(20.0, 0.5, 40), (6.0, 1.0, 6), (10.0, 10.0, 1)])
def test_whole_packs_are_bought(pack: float, step: float, pieces: int) -> None:
    found = bought(item_of(3.0, step=step, fluid=step != 1.0), stock_of((0.0, np.inf), pack=pack))
    assert found.cover.order is not None
    assert found.cover.order.quantity >= found.cover.order.asked
    assert found.cover.order.quantity == found.packs * pieces


def test_packs_that_are_no_whole_number_of_steps_still_bring_what_is_asked_for() -> None:
    for pack, step in ((7.0, 2.0), (0.5, 1.0), (3.0, 5.0)):
        found = bought(item_of(3.0, step=step, fluid=True), stock_of((0.0, np.inf), pack=pack))
        assert found.cover.order is not None
        assert found.packs * pack >= found.cover.order.asked * step
        assert (found.packs - 1) * pack < (found.cover.order.asked + 1) * step + pack


def test_litres_that_do_not_fill_a_step_are_not_counted_on() -> None:
    one, other = (bought(item_of(1.0, step=5.0, fluid=True), stock_of((each, np.inf))) for each in (14.9, 10.0))
    np.testing.assert_array_equal(one.cover.run_out, other.cover.run_out)
    assert one.cover.order == other.cover.order


def test_where_nobody_tells_the_lead_time_one_is_assumed_and_said_so() -> None:
    untold = bought(item_of(1.0), stock_of((10.0, np.inf), lead_time_d=None))
    told = bought(item_of(1.0), stock_of((10.0, np.inf), lead_time_d=ASSUMED_LEAD_TIME_D))
    assert untold.lead.is_assumed
    assert untold.cover.is_lead_time_assumed
    assert not told.cover.is_lead_time_assumed
    assert order_day(untold) == order_day(told)


def test_a_longer_lead_time_asks_for_the_order_earlier() -> None:
    days = [order_day(bought(item_of(1.0), stock_of((12.0, np.inf), lead_time_d=lead))) for lead in (7.0, 28.0)]
    assert days[0] - days[1] == pytest.approx(21.0, abs=1.0)


def test_costs_ask_for_the_level_of_the_newsvendor() -> None:
    """cu/(cu + co) with co a quarter of the price a year (Arrow, Harris & Marschak 1951; from memory)."""
    systems = (System("S1", late_cost=300.0), System("S2", late_cost=700.0), System("S3"))
    found = bought(item_of(1.0, users=(0, 1, 2)), stock_of((10.0, np.inf), price=40.0), *systems)
    left = 40.0 * HOLDING_SHARE_PER_YEAR * HABIT.review_d / 365.25
    assert found.level_by_cost == pytest.approx(500.0 / (500.0 + left))


def test_what_it_costs_to_be_wrong_is_the_mean_over_every_demand() -> None:
    found = bought(item_of(1.0), stock_of((10.0, np.inf), price=40.0), System(late_cost=500.0))
    assert found.cover.order is not None
    has = 10 + found.cover.order.quantity
    # from now to the end of the review after the order has come: one a week, between two weeks a mixture of both
    weeks = (order_day(found) + 14.0 + HABIT.review_d) / 7.0
    used, full = np.arange(200), int(weeks)
    chance = (full + 1 - weeks) * stats.poisson.pmf(used, full) + (weeks - full) * stats.poisson.pmf(used, full + 1)
    left = 40.0 * HOLDING_SHARE_PER_YEAR * HABIT.review_d / 365.25
    mean = float(chance @ (500.0 * np.maximum(used - has, 0) + left * np.maximum(has - used, 0)))
    assert found.cost_if_wrong == pytest.approx(mean, rel=0.01)


@pytest.mark.parametrize(("late_cost", "price"), [(NAN, 40.0), (500.0, None), (0.0, 40.0), (500.0, 0.0)], ids=str)
def test_where_a_cost_is_not_known_nothing_is_said_of_costs(late_cost: float, price: float | None) -> None:
    found = bought(item_of(1.0), stock_of((10.0, np.inf), price=price), System(late_cost=late_cost))
    assert found.level_by_cost is None
    assert found.cost_if_wrong is None
    assert found.cover.order is not None


def test_an_item_that_nobody_uses_is_not_bought() -> None:
    found = bought(item_of(1e-9, users=()), stock_of((0.0, np.inf), price=40.0), System(late_cost=500.0))
    assert found.cover.order is None
    assert found.cover.order_by_d is None
