"""What is used of each part and oil: what a change takes, from what is certain to what may come."""

from collections.abc import Iterator

import numpy as np
import pytest

from scheduler.planning import change_dates as dates_module
from scheduler.planning.change_dates import change_dates
from scheduler.planning.condition import assess_condition
from scheduler.planning.demand import ItemDemand, forecast_demand
from scheduler.planning.duty import assess_duty
from scheduler.planning.indicator import sightings_of
from scheduler.planning.kits import KitSpec
from scheduler.planning.limit_dates import limit_dates
from scheduler.planning.oil_use import TopUps, other_oil_use
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.statistics.life_model import LifePrior
from scheduler.vocabulary import EventKind, Status
from tests.planning.small_plant import (
    BREATHER,
    ELEMENT,
    NEVER_BY_CONDITION,
    NOW,
    OIL,
    OTHER_OIL,
    STRAINER,
    STRANGER,
    Event,
    Life,
    Position,
    System,
    TopUp,
    life_of,
    plant,
    prior_of_life,
)

EDGE_D: Floats = np.array([0.0, 10.0, 20.0, 30.0])
IN_THE_SECOND = NOW + 15.0
ONE = KitSpec(ELEMENT, 1)


@pytest.fixture(autouse=True, scope="module")
def nothing_unforeseen() -> Iterator[None]:
    """So that what is certain is exactly so."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(dates_module, "UNFORESEEN_PER_D", 0.0)
        yield


def demand_of(
    columns: PlantColumns,
    kits: dict[str, KitSpec],
    planned_day: dict[int, float] | None = None,
    life: LifePrior | None = None,
    edge_d: Floats = EDGE_D,
) -> dict[str, ItemDemand]:
    duty = assess_duty(columns)
    lives = life_of(1e6, 0.1, len(columns.positions.code)) if life is None else life
    condition = assess_condition(columns, duty, prior_of_life(columns, lives))
    dates = limit_dates(columns, duty, condition, sightings_of(columns, condition), {})
    risk = np.full(len(columns.positions.code), 0.1)
    changes = change_dates(columns, duty, condition, dates, risk, planned_day or {}, edge_d)
    return {item.code: item for item in forecast_demand(columns, changes, kits)}


def litres(item: ItemDemand) -> Floats:
    return np.asarray(item.demand.by_end.mean() * item.step)


def test_planned_work_takes_its_parts_in_its_period_and_in_no_other() -> None:
    two = plant(Position("P1"), Position("P2"))
    found = demand_of(two, {"P1": ONE, "P2": ONE}, {0: IN_THE_SECOND, 1: IN_THE_SECOND})
    np.testing.assert_allclose(found[ELEMENT].demand.within.probability[1], [0.0, 0.0, 1.0], atol=1e-12)
    np.testing.assert_allclose(found[ELEMENT].demand.within.mean(), [0.0, 2.0, 0.0], atol=1e-12)
    assert found[ELEMENT].users == (0, 1)


def test_parallel_elements_are_all_changed_at_once() -> None:
    uncertain = life_of(1500.0, 0.3)
    edge_d = np.arange(0.0, 63.0, 7.0)
    [one] = demand_of(plant(Position()), {"P1": ONE}, life=uncertain, edge_d=edge_d).values()
    [three] = demand_of(plant(Position()), {"P1": KitSpec(ELEMENT, 3)}, life=uncertain, edge_d=edge_d).values()
    assert 0.0 < one.demand.by_end.mean()[2] < 1.0
    np.testing.assert_allclose(three.demand.by_end.mean(), 3.0 * one.demand.by_end.mean())
    np.testing.assert_allclose(three.demand.by_end.probability[:, 1:3], 0.0)


def test_a_change_takes_its_kit_with_it() -> None:
    kit = KitSpec(ELEMENT, 1, seal_kit="SK-10", lines=(("O-RING", 4),))
    found = demand_of(plant(Position()), {"P1": kit}, {0: IN_THE_SECOND})
    assert {code: item.demand.by_end.mean()[-1] for code, item in found.items()} == pytest.approx(
        {ELEMENT: 1.0, "O-RING": 4.0, "SK-10": 1.0}
    )


def test_a_cleaned_strainer_uses_its_seals_only() -> None:
    strainer = Position(part=STRAINER, fitted=STRAINER)
    kit = KitSpec(STRAINER, 1, seal_kit="SK-10", cleaned=True)
    assert set(demand_of(plant(strainer), {"P1": kit}, {0: IN_THE_SECOND})) == {"SK-10"}


def test_oil_lost_at_a_change_is_the_oil_of_that_system() -> None:
    columns = plant(Position("P1", "S1"), Position("P2", "S2"), systems=[System("S1"), System("S2", fluid=OTHER_OIL)])
    kits = {"P1": KitSpec(ELEMENT, 1, oil_lost_L=3.0), "P2": KitSpec(ELEMENT, 1, oil_lost_L=8.0)}
    found = demand_of(columns, kits, {0: IN_THE_SECOND, 1: NOW + 25.0})
    np.testing.assert_allclose(litres(found[OIL.code]), [0.0, 3.0, 3.0], atol=1e-9)
    np.testing.assert_allclose(litres(found[OTHER_OIL.code]), [0.0, 0.0, 8.0], atol=1e-9)
    assert found[OIL.code].is_fluid
    assert not found[ELEMENT].is_fluid


def test_oil_that_is_no_whole_number_of_steps_is_right_on_average() -> None:
    columns = plant(*(Position(f"P{row}") for row in range(40)))
    kits = {f"P{row}": KitSpec(ELEMENT, 1, oil_lost_L=1.37) for row in range(40)}
    found = demand_of(columns, kits, dict.fromkeys(range(40), IN_THE_SECOND))[OIL.code]
    assert litres(found)[-1] == pytest.approx(40 * 1.37)


def test_a_breather_loses_no_oil() -> None:
    breather = Position(part=BREATHER, fitted=BREATHER)
    found = demand_of(plant(breather), {"P1": KitSpec(BREATHER, 1, oil_lost_L=2.0)}, {0: IN_THE_SECOND})
    assert set(found) == {BREATHER}


@pytest.mark.parametrize(
    "still", [Position(status=Status.LAID_UP), Position(fitted=None)], ids=["laid up", "nothing known"]
)
def test_a_position_that_is_not_changed_uses_nothing(still: Position) -> None:
    found = demand_of(plant(still), {"P1": KitSpec(ELEMENT, 1, oil_lost_L=2.0)}, life=life_of(100.0))
    assert all(item.demand.by_end.mean()[-1] == 0.0 for item in found.values())


def test_the_specified_element_is_asked_for_whatever_sits_there_now() -> None:
    assert set(demand_of(plant(Position(fitted=STRANGER)), {"P1": ONE}, {0: IN_THE_SECOND})) == {ELEMENT}


def test_a_top_up_at_a_change_refills_and_is_no_consumption() -> None:
    life = Life(NOW - 300.0, NOW - 100.0)
    watched = [TopUp(OIL, NOW - 400.0), TopUp(OIL, NOW - 250.0, 30.0)]
    refills = [TopUp(OIL, NOW - 99.5, 50.0), TopUp(OIL, NOW - 60.5, 90.0)]
    columns = plant(
        Position(fitted_day=NOW - 100.0),
        lives=[life],
        top_ups=[*watched, *refills],
        events=[Event(EventKind.OIL_CHANGE, NOW - 60.0)],
    )
    [use] = [each for each in other_oil_use(columns, EDGE_D)[OIL.code] if isinstance(each, TopUps)]
    np.testing.assert_array_equal(use.volume_L, [30.0])  # the first only begins the watching
    assert use.watched_d == 400.0


def test_a_system_that_tops_up_more_needs_more_and_one_that_never_did_says_nothing() -> None:
    assert other_oil_use(plant(Position()), EDGE_D) == {}
    seldom, often = (
        plant(Position(), top_ups=[TopUp(OIL, NOW - 30.5 * back) for back in range(1, count)]) for count in (5, 20)
    )
    means = [litres(demand_of(columns, {})[OIL.code])[-1] for columns in (seldom, often)]
    assert means[0] > 0.0
    assert means[1] == pytest.approx(20.0 * 30.0 / 30.5, rel=0.15)  # 20 L about once in 30.5 days


def test_a_system_that_is_laid_up_needs_no_oil() -> None:
    top_ups = [TopUp(OIL, NOW - 30.5 * back) for back in range(1, 9)]
    assert other_oil_use(plant(Position(), systems=[System(status=Status.LAID_UP)], top_ups=top_ups), EDGE_D) == {}


def test_an_oil_change_that_comes_every_year_takes_the_whole_charge_again() -> None:
    events = [Event(EventKind.OIL_CHANGE, NOW - 365.0 * back - 345.0) for back in range(6)]
    found = demand_of(plant(Position(), events=events), {}, edge_d=np.array([0.0, 5.0, 60.0, 200.0]))[OIL.code]
    by_end_L = litres(found)
    assert by_end_L[0] < 0.35 * 400.0  # the charge is 400 L: tests/planning/small_plant.py
    assert by_end_L[2] == pytest.approx(400.0, rel=0.06)


def test_over_years_an_element_is_used_as_often_as_it_lasts() -> None:
    """A renewal process in the long run: one change a mean stay (Cox, Renewal Theory, 1962, section 4.2)."""
    edge_d = np.arange(0.0, 5.0 * 365.0, 30.0)
    yearly = Position(max_age_d=180.0, fitted_day=NOW - 90.0)
    [item] = demand_of(plant(yearly), {"P1": ONE}, life=NEVER_BY_CONDITION, edge_d=edge_d).values()
    by_end = item.demand.by_end.mean()
    assert by_end[-1] - by_end[11] == pytest.approx((edge_d[-1] - edge_d[12]) / 176.5, rel=0.03)


def test_a_part_that_is_the_element_and_on_a_kit_line_is_counted_together() -> None:
    kit = KitSpec(ELEMENT, 1, lines=((ELEMENT, 2),))
    found = demand_of(plant(Position("P1")), {"P1": kit}, {0: IN_THE_SECOND})
    assert found[ELEMENT].demand.within.quantile(0.5).tolist() == [0, 3, 0]
    assert found[ELEMENT].users == (0,)
