"""A plant that states what changes cost: the date moves, and the reason and the history say why."""

import pytest
import sqlalchemy as sa

from service.plant_folder import tables as t
from tests.flow.running_plant import RunningPlant
from tests.flow.small_folder import RETURN, SmallPlant


@pytest.fixture
def unset(plant: RunningPlant) -> RunningPlant:
    """The plant as if it had never stated a risk: an empty cell would erase nothing."""
    with plant.database.writing() as connection:
        connection.execute(sa.update(t.plants).values(risk=None))
    plant.later(hours=1)
    plant.run_pass()
    return plant


def _take_in_costs(plant: RunningPlant) -> None:
    press = {"system": "PRESS", "plant": "MILL", "fluid": "OIL-46", "reservoir_volume [L]": 400}
    costs = {"stop_cost": 500, "labour_cost": 62.5, "late_cost": 60000}
    plant.take_in(SmallPlant(plant.now, {"systems": [press | costs]}))
    plant.later(hours=1)
    plant.run_pass()


def test_costs_move_the_date_and_the_reason_says_so(unset: RunningPlant) -> None:
    usual = unset.due(RETURN)
    assert "Due at 10 % risk, which is usual where neither a risk nor costs are told." in usual["reason"]
    _take_in_costs(unset)
    item = unset.due(RETURN)
    assert item["trigger"] == usual["trigger"] == "pressure"
    assert item["due_at"] < usual["due_at"]
    assert "from the costs of its system: 562 EUR for a planned change, 60,000 EUR for a late one." in item["reason"]


def test_the_history_names_the_costs_as_they_were_written_and_both_risks(unset: RunningPlant) -> None:
    _take_in_costs(unset)
    move = unset.get(f"/v1/due/{RETURN}/history")["items"][0]
    assert move["movement"] == "earlier"
    says = [cause["says"] for cause in move["because"]]
    assert "Late cost of the system PRESS was changed from nothing to 60000.00." in says
    assert "Labour cost of the system PRESS was changed from nothing to 62.50." in says
    assert [said.split("% (")[1] for said in says if said.startswith("The accepted risk is")] == [
        "from the costs of its system) now, and was 10 "
    ]


def test_a_risk_set_by_hand_wins_over_costs(plant: RunningPlant) -> None:
    _take_in_costs(plant)
    assert "Due at 10 % risk, as the plant has set it." in plant.due(RETURN)["reason"]
    moves = plant.get(f"/v1/due/{RETURN}/history")["items"]
    assert [move["movement"] for move in moves] == ["new"]
