"""What a job used leaves the books: the told lot, the picked one, seal kits and oil drums, and never below zero.

contract.md, "Facts and refusals": stock that would fall below zero is booked to zero and the difference kept as a
stock discrepancy. The folder: stock now is the last count and later movements.
"""

from typing import Any

import pytest

from tests.flow.running_plant import RunningPlant, iso, oil
from tests.flow.small_folder import (
    BREATHER,
    HOURS_NOW,
    NOW,
    RETURN,
    SIDE_A,
    STRAINER,
    SmallPlant,
    moment,
    small_plant,
)


def _moved(plant: RunningPlant, part_number: str) -> dict[str, int]:
    moved: dict[str, int] = {}
    for row in plant.rows("stock_movements", part_number=part_number):
        moved[row["lot"]] = moved.get(row["lot"], 0) + row["quantity"]
    return moved


def test_the_told_lot_is_the_one_that_leaves(plant: RunningPlant) -> None:
    plant.close(position=RETURN, element={"lot": "L-2"})
    assert _moved(plant, "EL-10") == {"L-2": -1}


def test_without_a_word_the_picked_lot_leaves(plant: RunningPlant) -> None:
    (pick,) = [pick for pick in plant.task_of(RETURN)["picks"] if pick["part_number"] == "EL-10"]
    plant.close(task=plant.task_of(RETURN)["id"])
    assert _moved(plant, "EL-10") == {pick["lot"]: -1}


def test_without_a_pick_the_lot_that_expires_first_leaves(plant: RunningPlant) -> None:
    plant.close(position=SIDE_A)
    assert _moved(plant, "EL-10") == {"L-1": -1}


def test_an_expired_lot_is_not_taken_to_have_been_used_while_there_is_another(plant: RunningPlant) -> None:
    expired = {"part_number": "EL-10", "store": "MAIN", "lot": "L-0", "on_hand": 2, "counted_at": moment(NOW, 1)}
    plant.take_in(SmallPlant(NOW, {"stock": [expired | {"expires_at": moment(NOW, 5)}]}))
    plant.close(position=SIDE_A)
    assert _moved(plant, "EL-10") == {"L-1": -1}


def test_a_told_store_is_the_one_that_leaves(plant: RunningPlant) -> None:
    van = {"part_number": "EL-10", "store": "VAN", "lot": "L-9", "on_hand": 1, "counted_at": moment(NOW, 1)}
    plant.take_in(SmallPlant(NOW, {"stock": [van]}))
    plant.close(position=SIDE_A, element={"store": "VAN"})
    (row,) = plant.rows("stock_movements")
    assert (row["store"], row["lot"]) == ("VAN", "L-9")


def test_a_lot_that_the_books_do_not_have_is_a_discrepancy_and_no_other_lot_is_touched(plant: RunningPlant) -> None:
    answer = plant.close(position=RETURN, element={"lot": "L-77"}, parts=[])
    assert _moved(plant, "EL-10") == {}
    (row,) = plant.rows("stock_discrepancies")
    assert (row["part_number"], row["lot"], row["missing"]) == ("EL-10", "L-77", 1.0)
    assert row["source"] == f"close-out {answer['id']}"
    (fitted,) = plant.holds_now("installations", position=RETURN, removed_at=None)
    assert fitted["lot"] == "L-77"


def test_more_than_the_books_have_is_booked_to_zero_and_the_rest_is_a_discrepancy(plant: RunningPlant) -> None:
    plant.close(position=RETURN, parts=[{"part_number": "SK-1", "quantity": 5}])
    assert plant.on_hand("SK-1") == 0
    (row,) = plant.rows("stock_discrepancies")
    assert (row["part_number"], row["missing"]) == ("SK-1", 3.0)


def test_a_part_that_is_in_no_catalogue_is_a_discrepancy_too(plant: RunningPlant) -> None:
    plant.close(position=RETURN, parts=[{"part_number": "RAG"}])
    assert [row["part_number"] for row in plant.rows("stock_discrepancies")] == ["RAG"]


def test_a_part_on_the_shelf_of_nobody_is_a_discrepancy(plant: RunningPlant) -> None:
    plant.close(position=BREATHER)
    assert [(row["part_number"], row["missing"]) for row in plant.rows("stock_discrepancies")] == [("BR-1", 1.0)]


def test_the_next_count_has_the_last_word(plant: RunningPlant) -> None:
    plant.close(position=RETURN, element={"lot": "L-1"})
    plant.later(days=1)
    count = {"part_number": "EL-10", "store": "MAIN", "lot": "L-1", "on_hand": 2, "counted_at": moment(plant.now, 0)}
    plant.take_in(SmallPlant(plant.now, {"stock": [count]}))
    plant.run_pass()
    plant.later(days=1)
    plant.close(position=SIDE_A, element={"lot": "L-1"})
    plant.later(hours=1)
    plant.close(position=SIDE_A, element={"lot": "L-1"})
    assert plant.rows("stock_discrepancies") == []  # two were counted, two were used since


def test_what_was_used_before_the_last_count_is_in_it_already(plant: RunningPlant) -> None:
    emptied = {"part_number": "EL-10", "store": "MAIN", "on_hand": 0, "counted_at": moment(NOW, 0.5)}
    plant.take_in(SmallPlant(NOW, {"stock": [emptied | {"lot": lot} for lot in ("L-1", "L-2")]}))
    plant.close(position=SIDE_A, at=moment(NOW, 2), element={"lot": "L-1"})
    assert plant.rows("stock_discrepancies") == []
    plant.run_pass()
    (short,) = [pick for pick in plant.task_of(RETURN)["picks"] if pick["part_number"] == "EL-10"]
    assert short["store"] is None


def test_the_picked_seal_kit_and_kit_lines_count_as_used(plant: RunningPlant) -> None:
    plant.close(task=plant.task_of(RETURN)["id"])
    assert (_moved(plant, "SK-1"), _moved(plant, "TRAY")) == ({"K-1": -1}, {"": -2})


def test_told_parts_replace_the_picked_ones(plant: RunningPlant) -> None:
    plant.close(task=plant.task_of(RETURN)["id"], parts=[{"part_number": "TRAY"}])
    assert (_moved(plant, "SK-1"), _moved(plant, "TRAY")) == ({}, {"": -1})


def test_no_parts_told_means_none_were_used(plant: RunningPlant) -> None:
    plant.close(task=plant.task_of(RETURN)["id"], parts=[])
    assert {row["part_number"] for row in plant.rows("stock_movements")} == {"EL-10"}


def test_a_look_without_a_change_uses_no_parts(plant: RunningPlant) -> None:
    plant.close(task=plant.task_of(RETURN)["id"], element_changed=False)
    assert plant.rows("stock_movements") == []


def test_elements_in_parallel_are_booked_together(plant: RunningPlant) -> None:
    plant.take_in(small_plant().changed("positions", "position", SIDE_A, quantity=3))
    plant.close(position=SIDE_A)
    assert _moved(plant, "EL-10") == {"L-1": -1, "L-2": -2}


def test_work_underway_has_its_parts_in_hand_and_nobody_else_is_promised_them(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    plant.post(f"/v1/work-orders/{order['id']}/issue")
    plant.post(f"/v1/work-orders/{order['id']}/start")
    plant.take_in(small_plant().changed("positions", "position", SIDE_A, quantity=4, max_hours__h=300))
    plant.run_pass()
    picks = [pick for pick in plant.task_of(SIDE_A)["picks"] if pick["part_number"] == "EL-10"]
    assert sum(pick["quantity"] for pick in picks if pick["store"]) == 3
    assert sum(pick["quantity"] for pick in picks if not pick["store"]) == 1


def _oil_moved(plant: RunningPlant) -> dict[str, float]:
    moved: dict[str, float] = {}
    for row in plant.rows("oil_movements"):
        moved[row["lot"]] = moved.get(row["lot"], 0.0) + row["quantity"] * row["container_L"]
    return moved


def test_oil_comes_from_the_opened_drum_and_then_from_the_next(plant: RunningPlant) -> None:
    plant.close(position=RETURN, oil=[oil("OIL-46", 110)])  # half a drum of 208 L is 104 L
    assert _oil_moved(plant) == pytest.approx({"D-1": -104.0, "D-2": -6.0})


def test_oil_told_by_its_lot_comes_from_that_lot(plant: RunningPlant) -> None:
    plant.close(position=RETURN, oil=[oil("OIL-46", 5, lot="D-2")])
    assert _oil_moved(plant) == pytest.approx({"D-2": -5.0})


def test_more_oil_than_the_books_have_is_a_discrepancy_in_litres(plant: RunningPlant) -> None:
    plant.close(position=RETURN, oil=[oil("OIL-46", 154)])
    assert _oil_moved(plant) == pytest.approx({"D-1": -104.0, "D-2": -40.0})
    (row,) = plant.rows("stock_discrepancies", part_number=None)
    assert (row["fluid"], row["missing"]) == ("OIL-46", pytest.approx(10.0))


def test_two_lots_of_the_same_oil_are_one_top_up_and_two_movements(plant: RunningPlant) -> None:
    plant.close(position=RETURN, oil=[oil("OIL-46", 3, lot="D-1"), oil("OIL-46", 2, lot="D-2")])
    assert _oil_moved(plant) == pytest.approx({"D-1": -3.0, "D-2": -2.0})
    (top_up,) = plant.rows("top_ups")
    assert top_up["volume_L"] == 5.0


def test_oil_told_in_gallons_is_kept_in_litres(plant: RunningPlant) -> None:
    plant.close(position=RETURN, oil=[{"fluid": "OIL-46", "volume": {"value": 2, "unit": "gal"}}])
    (top_up,) = plant.rows("top_ups")
    assert top_up["volume_L"] == pytest.approx(2 * 3.785412)  # US gallon, NIST SP 811, app. B


def test_supply_that_came_in_is_picked_and_used(plant: RunningPlant) -> None:
    came: dict[str, Any] = {"order": "PO-9", "line": "1", "part_number": "BR-1", "quantity": 1}
    came |= {"expected_at": moment(NOW, -8), "received_at": iso(NOW), "recorded_at": iso(NOW)}
    plant.later(hours=1)
    plant.take_in(SmallPlant(plant.now, {"supply": [came]}))
    plant.run_pass()
    (pick,) = plant.task_of(BREATHER)["picks"]
    assert pick["store"] is not None
    plant.close(task=plant.task_of(BREATHER)["id"])
    assert plant.rows("stock_discrepancies") == []
    assert sum(row["quantity"] for row in plant.rows("stock_movements", part_number="BR-1")) == -1


def test_a_put_back_strainer_uses_its_gasket_alone(plant: RunningPlant) -> None:
    plant.close(task=plant.task_of(STRAINER)["id"], hours=HOURS_NOW)
    assert {row["part_number"]: row["quantity"] for row in plant.rows("stock_movements")} == {"GK-1": -1}
