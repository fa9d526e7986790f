"""The risk that a position is planned at: set by hand, from its system's costs, or what is usual."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning import risk as module
from scheduler.planning.condition import assess_condition
from scheduler.planning.duty import assess_duty
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.risk import LEAST_RISK, MOST_RISK, USUAL_RISK, AcceptedRisk, RiskSource, accepted_risk
from scheduler.vocabulary import Access, Place, Trigger
from tests.planning.small_plant import (
    BREATHER,
    NAN,
    NOW,
    STRAINER,
    Plant,
    Position,
    Reading,
    System,
    assess,
    due_of,
    life_of,
    plant,
    rising_readings,
)

UNSET = Plant(risk=NAN)
COSTS: dict[str, float] = {"stop_cost": 500.0, "labour_cost": 60.0, "late_cost": 8000.0}
READ = Position(terminal_dp_bar=2.5, housing_dp_bar=0.2, readings=rising_readings(300.0))
UNREAD = Position()


def risk_of(columns: PlantColumns) -> AcceptedRisk:
    duty = assess_duty(columns)
    return accepted_risk(columns, duty, assess_condition(columns, duty))


def risk_with(position: Position = READ, plants: Plant = UNSET, **costs: float) -> AcceptedRisk:
    return risk_of(plant(position, systems=[System(**costs)], plants=[plants]))


def facts_with(position: Position = READ, plants: Plant = UNSET, **costs: float) -> dict[str, Any]:
    return risk_with(position, plants, **costs).facts(0)


# Where it comes from


def test_a_risk_set_by_hand_wins_over_all_costs() -> None:
    facts = facts_with(plants=Plant(risk=0.04), **COSTS)
    assert {name: value for name, value in facts.items() if value is not None} == {"risk": 0.04, "risk_from": "set"}


def test_without_a_risk_and_without_costs_it_is_the_usual_one() -> None:
    assert facts_with() == {"risk": USUAL_RISK, "risk_from": "usual"}


@pytest.mark.parametrize("missing", [("late_cost",), ("stop_cost", "labour_cost"), ("late_cost", "stop_cost")])
def test_costs_that_are_not_all_told_decide_nothing(missing: tuple[str, ...]) -> None:
    told = {name: cost for name, cost in COSTS.items() if name not in missing}
    assert facts_with(**told)["risk_from"] == "usual"


@pytest.mark.parametrize("costs", [COSTS | {"late_cost": 0.0}, {"stop_cost": 0.0, "late_cost": 900.0}])
def test_a_cost_of_nothing_decides_nothing(costs: dict[str, float]) -> None:
    stranger = Position(part=STRAINER, fitted=STRAINER, place=Place.SUCTION)  # a strainer of which no price is told
    assert facts_with(stranger, **costs)["risk_from"] == "usual"


def test_costs_decide_where_no_risk_is_set_and_the_reason_says_which() -> None:
    facts = facts_with(**COSTS)
    assert facts["risk_from"] == "costs"
    assert LEAST_RISK <= facts["risk"] <= MOST_RISK
    assert (facts["planned_cost"], facts["late_cost"], facts["currency"]) == (600.0, 8000.0, "EUR")
    assert facts["risk_bound"] is None


def test_systems_of_one_plant_each_go_by_their_own_costs() -> None:
    columns = plant(
        Position("P1"),
        Position("P2", system="S2"),
        systems=[System(**COSTS), System("S2")],
        plants=[UNSET],
    )
    assert risk_of(columns).source == (RiskSource.COSTS, RiskSource.USUAL)


# What a planned change costs


def test_a_planned_change_costs_its_stop_its_labour_and_its_elements() -> None:
    """The element's price is 40 in the plant's currency, and two are changed together."""
    assert facts_with(Position(quantity=2), **COSTS)["planned_cost"] == 500.0 + 60.0 + 2 * 40.0


def test_what_is_changed_while_the_machine_runs_needs_no_stop() -> None:
    breather = Position(place=Place.BREATHER, part=BREATHER, fitted=BREATHER, access=Access.RUNNING)
    assert facts_with(breather, **COSTS)["planned_cost"] == 60.0
    assert facts_with(breather, stop_cost=500.0, late_cost=8000.0)["risk_from"] == "usual"


def test_a_price_in_another_currency_is_not_counted() -> None:
    assert facts_with(plants=Plant(risk=NAN, currency="NOK"), **COSTS)["planned_cost"] == 560.0


@pytest.mark.parametrize("name", ["stop_cost", "labour_cost"])
def test_a_cost_that_is_not_told_makes_the_risk_lower_never_higher(name: str) -> None:
    known = risk_with(**COSTS).level[0]
    assert risk_with(**{each: cost for each, cost in COSTS.items() if each != name}).level[0] <= known


# How high it is


def test_a_late_change_that_is_no_dearer_than_a_planned_one_is_planned_at_the_most() -> None:
    facts = facts_with(**COSTS | {"late_cost": 300.0})
    assert (facts["risk"], facts["risk_bound"]) == (MOST_RISK, "most")


def test_a_ruinous_late_change_is_planned_at_the_least_and_says_so() -> None:
    facts = facts_with(UNREAD, **COSTS | {"late_cost": 5e8})
    assert (facts["risk"], facts["risk_bound"]) == (LEAST_RISK, "least")


@settings(max_examples=25, deadline=None)
@given(
    late=st.tuples(st.floats(1.0, 1e6), st.floats(1.0, 1e6)),
    stop=st.floats(1.0, 5000.0),
    position=st.sampled_from([READ, UNREAD]),
)
def test_a_dearer_late_change_is_never_due_later(late: tuple[float, float], stop: float, position: Position) -> None:
    systems = (System(stop_cost=stop, late_cost=cost) for cost in sorted(late))
    items = [due_of(position, systems=[system], plants=[UNSET], life=life_of(1800.0)) for system in systems]
    cheap, dear = items
    assert dear.due_day is not None
    assert cheap.due_day is not None
    assert dear.due_day <= cheap.due_day + 1e-6


def test_costs_move_the_due_date_and_a_set_risk_does_not_care() -> None:
    dear = System(**COSTS | {"late_cost": 40_000.0})
    usual = due_of(READ, plants=[UNSET])
    costs = due_of(READ, plants=[UNSET], systems=[dear])
    by_hand = due_of(READ, systems=[dear])
    assert costs.trigger is usual.trigger is Trigger.PRESSURE
    assert costs.due_day is not None
    assert usual.due_day is not None
    assert costs.due_day < usual.due_day - 1.0
    assert by_hand.due_day == usual.due_day
    assert costs.because["facts"]["risk_from"] == "costs"
    assert (costs.early_day, costs.median_day, costs.late_day) == (usual.early_day, usual.median_day, usual.late_day)


def test_an_element_known_by_its_age_alone_keeps_its_date_while_time_passes() -> None:
    """Its best age is an age: whoever asks again a month later gets the same day (age replacement)."""
    days = []
    for later in (0.0, 15.0, 30.0):
        item = due_of(UNREAD, plants=[UNSET], systems=[System(**COSTS)], life=life_of(2500.0), now=NOW + later)
        assert item.due_day is not None
        days.append(item.due_day)
    assert np.ptp(days) < 3.0  # of about 60 days; the grid of hours is 8 % wide


def test_a_look_far_away_makes_the_risk_lower() -> None:
    """Whoever reads twice in a life is told of fewer ends in time."""
    often = Position(terminal_dp_bar=2.5, readings=tuple(Reading(NOW - day, 0.5) for day in range(90, -1, -3)))
    seldom = Position(terminal_dp_bar=2.5, readings=(Reading(NOW, 0.5),))
    columns = [plant(each, systems=[System(**COSTS)], plants=[UNSET]) for each in (often, seldom)]
    windows = []
    for each in columns:
        duty = assess_duty(each)
        windows.append(float(module._next_look_h(each, duty, assess_condition(each, duty))[0]))
    assert windows[0] == pytest.approx(56.0, abs=0.5)  # a week of 8 h days
    assert windows[1] == pytest.approx(800.0, abs=0.5)  # one reading in 100 days of 8 h


def test_a_plant_of_many_positions_keeps_each_ones_risk() -> None:
    columns = plant(
        *(Position(f"P{row}", readings=READ.readings if row % 2 else (), terminal_dp_bar=2.5) for row in range(6)),
        systems=[System(**COSTS)],
        plants=[UNSET],
    )
    found = risk_of(columns)
    assert found.level[0::2] == pytest.approx(found.level[0])
    assert found.level[1::2] == pytest.approx(found.level[1])
    assert found.level[0] != pytest.approx(found.level[1], rel=0.01)
    assert [item.because["facts"]["risk"] for item in assess(columns).items] == pytest.approx(found.level, rel=1e-3)
