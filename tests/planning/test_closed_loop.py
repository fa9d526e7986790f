"""The bookkeeping of tests/measure/closed_loop.py on a small plant, and that deciding by the forecast pays there.

That no way of deciding costs less than changing each element just before its limit is arithmetic.
"""

import pytest

from scheduler.vocabulary import RemovalReason
from tests.measure.closed_loop import WAYS, Trial, cost_rate, late_share, life_used, tables, try_plant
from tests.measure.simulated_plants.elements_to_come import Limit
from tests.measure.simulated_plants.settings import Settings

LATE_COST = 10.0
SMALL = Settings(systems=2, types=2, history_d=800, test_d=250, truth_d=1600, hours_per_week=(160.0,))


@pytest.fixture(scope="module")
def tried() -> Trial:
    return try_plant("gentle", 3, LATE_COST, SMALL, Limit.TERMINAL, RemovalReason.EARLY)


def test_every_place_is_followed_by_every_way_of_deciding(tried: Trial) -> None:
    places = set(range(len(tried.reading_every_d)))
    assert len(places) >= 4
    assert all({change.place for change in getattr(tried, way)} == places for way in WAYS)


def test_nothing_is_cheaper_than_changing_each_element_just_before_its_limit(tried: Trial) -> None:
    assert late_share(tried.foreseen) == 0.0
    assert life_used(tried.foreseen) == pytest.approx(100.0, abs=0.1)
    least = cost_rate(tried.foreseen, LATE_COST)
    assert all(cost_rate(getattr(tried, way), LATE_COST) > 0.99 * least for way in WAYS)


def test_an_interval_chosen_for_each_place_costs_no_more_than_one_for_its_type(tried: Trial) -> None:
    assert cost_rate(tried.by_place, LATE_COST) <= cost_rate(tried.by_type, LATE_COST)


def test_an_element_that_was_changed_too_late_ran_its_whole_life(tried: Trial) -> None:
    every = [change for way in WAYS for change in getattr(tried, way)]
    assert any(change.is_late for change in every)
    assert all(change.run_h == change.life_h for change in every if change.is_late)
    assert all(0.0 < change.run_h <= change.life_h for change in every)


def test_few_are_late_by_the_forecast_and_most_of_the_life_is_used(tried: Trial) -> None:
    assert late_share(tried.by_forecast) <= 15.0
    assert life_used(tried.by_forecast) > 50.0
    assert f"| {LATE_COST:.0f} | gentle | {len(tried.by_forecast)} |" in tables([tried])
