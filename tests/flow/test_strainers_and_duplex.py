"""Work that is no plain change: a strainer cleaned and put back, an inspection, one side of a duplex housing."""

from datetime import datetime

import pytest

from tests.flow.running_plant import RunningPlant, warm
from tests.flow.small_folder import HOURS_NOW, RETURN, SIDE_A, SIDE_B, STRAINER, UNKNOWN, SmallPlant, moment

pytestmark = pytest.mark.one_database_is_enough


def test_a_strainer_put_back_is_the_same_one_cleaned_once_more(plant: RunningPlant) -> None:
    answer = plant.close(task=plant.task_of(STRAINER)["id"], hours=HOURS_NOW, reason="due")
    (fitted,) = plant.holds_now("installations", position=STRAINER, removed_at=None)
    assert (fitted["part_number"], fitted["lot"], fitted["serial"]) == ("STR-1", "S-7", "0042")
    assert (fitted["cleanings"], fitted["fitted_at"], fitted["fitted_hours"]) == (4, plant.now, HOURS_NOW)
    (ended,) = [row for row in plant.holds_now("installations", position=STRAINER) if row["removed_at"]]
    assert (ended["cleanings"], ended["removed_at"]) == (3, plant.now)
    # its 1,000 h begin again
    assert answer["next_due"]["hours_left"] == pytest.approx(1000.0, rel=0.01)
    assert plant.orders(position=STRAINER) == []


def test_a_new_strainer_has_not_been_cleaned(plant: RunningPlant) -> None:
    plant.close(task=plant.task_of(STRAINER)["id"], hours=HOURS_NOW, element={"lot": "S-8"})
    (fitted,) = plant.holds_now("installations", position=STRAINER, removed_at=None)
    assert (fitted["lot"], fitted["serial"], fitted["cleanings"]) == ("S-8", None, 0)
    assert [(row["part_number"], row["lot"]) for row in plant.rows("stock_discrepancies")] == [("STR-1", "S-8")]


def test_the_number_of_cleanings_may_be_told(plant: RunningPlant) -> None:
    plant.close(position=STRAINER, cleanings=9)
    (fitted,) = plant.holds_now("installations", position=STRAINER, removed_at=None)
    assert fitted["cleanings"] == 9


def test_a_strainer_that_has_had_its_cleanings_is_replaced_by_a_new_one(plant: RunningPlant) -> None:
    """STR-1 may be cleaned ten times: then the kit holds a new one, and one more cleaning is remarked on."""
    plant.close(position=STRAINER, hours=HOURS_NOW, cleanings=10)
    plant.later(days=125)
    plant.close(position=RETURN, kind="inspect", hours=HOURS_NOW + 1000)
    picks = {pick["part_number"]: pick["quantity"] for pick in plant.task_of(STRAINER)["picks"]}
    assert picks == {"STR-1": 1, "GK-1": 1}
    closed = plant.close(task=plant.task_of(STRAINER)["id"], hours=HOURS_NOW + 1000)
    assert closed["remarks"] == ["This was cleaning 11; the maker allows 10: fit a new strainer at the next service."]


def test_an_inspection_leaves_the_element_and_its_dates(plant: RunningPlant) -> None:
    before = plant.dump("installations", "stock_movements")
    due = plant.due(RETURN)
    answer = plant.close(position=RETURN, kind="inspect", note="housing dry")
    assert plant.dump("installations", "stock_movements") == before
    assert answer["next_due"]["due_at"] == due["due_at"]


def test_the_dp_read_at_an_inspection_counts_for_the_element_that_stays(plant: RunningPlant) -> None:
    answer = plant.close(position=RETURN, kind="inspect", hours=HOURS_NOW, dp_before=warm(1.62))
    assert "1.62 bar" in answer["next_due"]["reason"]


def test_the_dp_read_after_an_inspection_counts_as_well(plant: RunningPlant) -> None:
    answer = plant.close(position=RETURN, kind="inspect", hours=HOURS_NOW, dp_after=warm(1.63))
    assert "1.63 bar" in answer["next_due"]["reason"]


def test_an_inspection_that_found_nothing_new_is_not_asked_for_again(plant: RunningPlant) -> None:
    plant.close(task=plant.task_of(UNKNOWN)["id"], note="plate cannot be read")
    plant.later(days=1)
    plant.run_pass()
    assert plant.orders(position=UNKNOWN) == []
    assert [note["code"] for note in plant.due(UNKNOWN)["diagnoses"]] == ["nothing-known-fitted"]


def test_only_the_side_in_service_gains_hours(plant: RunningPlant) -> None:
    working, resting = plant.due(SIDE_A), plant.due(SIDE_B)
    assert working["due_at"] is not None
    assert resting["due_at"] is None
    assert "rests" in resting["reason"]


def test_a_changeover_lets_the_other_side_run(plant: RunningPlant) -> None:
    turned = {"system": "CONV", "at": moment(plant.now, 0), "kind": "changeover", "position": SIDE_B}
    plant.take_in(SmallPlant(plant.now, {"events": [turned]}))
    plant.run_pass()
    assert plant.due(SIDE_A)["due_at"] is None
    assert plant.due(SIDE_B)["due_at"] is not None


def test_a_change_on_the_resting_side_leaves_the_other_as_it_is(plant: RunningPlant) -> None:
    working = plant.due(SIDE_A)
    answer = plant.close(position=SIDE_B, element={"lot": "L-2"})
    assert answer["next_due"]["due_at"] is None
    assert plant.due(SIDE_A)["due_at"] == working["due_at"]
    (fitted,) = plant.holds_now("installations", position=SIDE_A, removed_at=None)
    assert fitted["lot"] is None


def _tripped(plant: RunningPlant) -> None:
    """Somebody saw the pop-up; nobody noted how warm the oil was."""
    seen = {"position": RETURN, "at": moment(plant.now, 0.1), "indicator": "tripped"}
    plant.take_in(SmallPlant(plant.now, {"dp_readings": [seen]}))
    plant.run_pass()


def test_a_trip_of_unknown_temperature_asks_for_a_look_when_warm(plant: RunningPlant) -> None:
    _tripped(plant)
    assert plant.task_of(RETURN, "look_when_warm")["state"] == "open"


def test_a_second_look_that_finds_it_clear_takes_the_finding_back(plant: RunningPlant) -> None:
    _tripped(plant)
    task = plant.task_of(RETURN, "look_when_warm")["id"]
    plant.later(hours=2)
    answer = plant.close(
        task=task, dp_before={"indicator": "clear", "oil_temperature": {"value": 50, "unit": "degC"}}
    )
    assert answer["next_due"]["diagnoses"] == []
    assert answer["next_due"]["trigger"] == "pressure"


def test_a_second_look_that_finds_it_tripped_makes_the_element_due_now(plant: RunningPlant) -> None:
    _tripped(plant)
    task = plant.task_of(RETURN, "look_when_warm")["id"]
    plant.later(hours=2)
    told = {"indicator": "tripped", "oil_temperature": {"value": 50, "unit": "degC"}}
    item = plant.close(task=task, dp_before=told)["next_due"]
    assert (item["trigger"], item["hours_left"]) == ("indicator", 0.0)
    assert datetime.fromisoformat(item["due_at"]) == plant.now
    assert plant.task_of(RETURN, "change_element")["trigger"] == "indicator"


def test_the_vacuum_behind_a_cleaned_strainer_is_kept(plant: RunningPlant) -> None:
    plant.close(position=STRAINER, hours=HOURS_NOW, dp_after={"vacuum": {"value": 3, "unit": "inHg"}})
    (kept,) = plant.rows("dp_readings", position=STRAINER)
    assert (kept["stage"], kept["dp_bar"]) == ("after", None)
    assert kept["vacuum_bar"] == pytest.approx(0.101592, rel=1e-4)  # 1 inHg = 3.38639 kPa (NIST SP 811, app. B)


def test_a_reading_that_says_nothing_is_refused(plant: RunningPlant) -> None:
    problem = plant.close(expect=422, position=RETURN, dp_after={"flow": {"value": 180, "unit": "L/min"}})
    assert problem["errors"][0]["member"] == "dp_after"
    assert "indicator" in problem["errors"][0]["says"]
