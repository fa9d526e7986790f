"""Who keeps a store tells counts, receipts and moves; nothing of it is lost or doubled, whoever repeats it.

Where a number is compared it is the sum that a person would make of the small plant's store, by hand.
"""

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from api_schemas.stock import Counts, CountsIn, Moved, MoveIn, MovementList, Receipt, ReceiptIn, StockList
from scheduler.vocabulary import Scope
from service.cli.asking import Refused
from service.demand.store import load_store
from service.keys.keeping import make_key
from service.stock.routes import COUNTS_EXAMPLE, MOVE_EXAMPLE, RECEIPT_EXAMPLE
from tests.flow.command_line import run_here
from tests.flow.running_plant import RunningPlant, _client, add_plant, iso
from tests.flow.small_folder import BREATHER, RETURN, SmallPlant
from tests.flow.test_list_files import cells_of, rows_of

LITRES = {"value": 208, "unit": "L"}


def shelf(plant: RunningPlant, item: str, client: TestClient | None = None) -> dict[tuple[str, str], dict[str, Any]]:
    """What is told of a part or an oil, by store and lot."""
    found = (client or plant.client).get("/v1/stock").json()["items"]
    return {(row["store"], row["lot"]): row for row in found if item in (row.get("part_number"), row.get("fluid"))}


def part_count(plant: RunningPlant, on_hand: int, **more: Any) -> dict[str, Any]:
    row = {"part_number": "EL-10", "store": "MAIN", "lot": "L-1", "on_hand": on_hand}
    return {"counted_at": iso(plant.now), "parts": [row | more]}


def receipt(plant: RunningPlant, *into: dict[str, Any], **more: Any) -> dict[str, Any]:
    put = into or ({"store": "MAIN", "lot": "B-1", "bin": "C3", "quantity": 1},)
    return {"order": "PO-9", "line": "1", "received_at": iso(plant.now), "into": list(put)} | more


def move(plant: RunningPlant, quantity: float = 1, **more: Any) -> dict[str, Any]:
    told = {"part_number": "EL-10", "at": iso(plant.now), "from": {"store": "MAIN", "lot": "L-2"}}
    return told | {"quantity": quantity} | more


def test_stock_is_the_last_count_and_what_moved_since(plant: RunningPlant) -> None:
    plant.close(position=RETURN, element={"lot": "L-2"}, oil=[{"fluid": "OIL-46", "volume": LITRES | {"value": 4}}])
    told = shelf(plant, "EL-10")["MAIN", "L-2"]
    assert (told["on_hand"], told["bin"], told["expired"]) == (2, "A1", False)  # three were counted
    drum = shelf(plant, "OIL-46")["MAIN", "D-1"]
    assert drum["container"] == LITRES
    assert drum["on_hand"] == {"value": 100.0, "unit": "L"}  # half of 208 L, less 4 L
    moved = plant.get("/v1/stock/movements", item="EL-10")["items"]
    assert [(row["lot"], row["quantity"], row["source"]) for row in moved] == [("L-2", -1.0, "close-out 1")]


def test_what_an_order_holds_is_named_with_the_order(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)["id"]
    plant.post(f"/v1/work-orders/{order}/reserve")
    told = shelf(plant, "EL-10")["MAIN", "L-1"]
    assert (told["held"], told["held_for"]) == (1, [{"work_order": order, "quantity": 1}])


def test_a_count_has_the_last_word_and_the_next_pass_picks_by_it(plant: RunningPlant) -> None:
    plant.later(hours=1)
    answer = plant.post("/v1/stock/counts", part_count(plant, 0), expect=201)
    (row,) = answer["rows"]
    assert (row["outcome"], row["before"]) == ("counted", 1.0)
    plant.run_pass()
    (pick,) = [pick for pick in plant.task_of(RETURN)["picks"] if pick["part_number"] == "EL-10"]
    assert pick["lot"] == "L-2"
    assert shelf(plant, "EL-10")["MAIN", "L-1"]["bin"] == "A1"  # what a count leaves out stays


def test_the_same_count_changes_nothing_and_another_number_for_its_time_corrects_it(plant: RunningPlant) -> None:
    plant.later(hours=1)
    body = part_count(plant, 5)
    outcomes = []
    for on_hand in (5, 5, 4):
        body["parts"][0]["on_hand"] = on_hand
        plant.later(minutes=1)
        outcomes.append(plant.post("/v1/stock/counts", body, expect=201)["rows"][0]["outcome"])
    assert outcomes == ["counted", "unchanged", "corrected"]
    assert shelf(plant, "EL-10")["MAIN", "L-1"]["on_hand"] == 4
    assert len(plant.rows("stock", part_number="EL-10", lot="L-1")) == 3  # every version is kept


def test_a_count_that_comes_late_does_not_undo_a_later_one(plant: RunningPlant) -> None:
    plant.later(hours=1)
    plant.post("/v1/stock/counts", part_count(plant, 5), expect=201)
    late = part_count(plant, 2) | {"counted_at": iso(plant.now - timedelta(minutes=30))}
    (row,) = plant.post("/v1/stock/counts", late, expect=201)["rows"]
    assert row["outcome"] == "outdated"
    assert row["counted_at"].startswith(iso(plant.now)[:16])
    assert shelf(plant, "EL-10")["MAIN", "L-1"]["on_hand"] == 5


def test_oil_is_counted_in_containers_of_one_size(plant: RunningPlant) -> None:
    row = {"fluid": "OIL-46", "store": "MAIN", "lot": "D-3", "container": {"value": 55, "unit": "gal"}}
    body = {"counted_at": iso(plant.now), "oil": [row | {"containers": 1.5}]}
    assert plant.post("/v1/stock/counts", body, expect=201)["rows"][0]["outcome"] == "new"
    told = shelf(plant, "OIL-46")["MAIN", "D-3"]["on_hand"]["value"]
    assert told == pytest.approx(1.5 * 55 * 3.785412, abs=1e-3)  # US gallon, NIST SP 811, app. B


def test_what_cannot_have_been_counted_is_refused_with_its_member(plant: RunningPlant) -> None:
    before = plant.dump("stock")
    for change, member in (
        ({"part_number": "EL-01"}, "parts.0.part_number"),
        ({"on_hand": -1}, "parts.0.on_hand"),
        ({"on_hand": 1.5}, "parts.0.on_hand"),
        ({"store": ""}, "parts.0.store"),
        ({"on_hend": 1}, "parts.0.on_hend"),
        ({}, "counted_at"),
    ):
        body = part_count(plant, 1)
        body["parts"][0] |= change
        if not change:
            body["counted_at"] = iso(plant.now + timedelta(minutes=1))
        told = plant.post("/v1/stock/counts", body, expect=422)
        assert [error["member"] for error in told["errors"]] == [member]
    assert plant.dump("stock") == before


def test_one_row_that_is_refused_takes_the_others_with_it(plant: RunningPlant) -> None:
    plant.later(hours=1)
    body = part_count(plant, 7)
    body["parts"].append(body["parts"][0] | {"on_hand": 8})
    before = plant.dump("stock")
    assert "stands twice" in plant.post("/v1/stock/counts", body, expect=422)["detail"]
    assert plant.dump("stock") == before


def test_a_line_that_came_lies_where_it_was_put_and_covers_the_job(plant: RunningPlant) -> None:
    plant.later(hours=1)
    expires = iso(plant.now + timedelta(days=700))
    into = {"store": "VAN", "lot": "B-1", "bin": "C3", "quantity": 1, "expires_at": expires}
    told = plant.post("/v1/stock/receipts", receipt(plant, into), expect=201)
    assert (told["part_number"], told["ordered"]) == ("BR-1", 1.0)
    (row,) = shelf(plant, "BR-1").values()
    assert (row["store"], row["lot"], row["bin"], row["on_hand"], row["counted_at"]) == ("VAN", "B-1", "C3", 1, None)
    assert row["expires_at"] is not None
    plant.later(hours=1)
    plant.run_pass()
    (pick,) = plant.task_of(BREATHER)["picks"]
    assert (pick["store"], pick["lot"]) == ("VAN", "B-1")
    plant.close(task=plant.task_of(BREATHER)["id"])
    assert shelf(plant, "BR-1")["VAN", "B-1"]["on_hand"] == 0
    assert plant.rows("stock_discrepancies") == []


def test_a_receipt_that_is_told_twice_is_booked_once(plant: RunningPlant) -> None:
    plant.later(hours=1)
    body = receipt(plant)
    first = plant.post("/v1/stock/receipts", body, expect=201)
    assert plant.post("/v1/stock/receipts", body, expect=200) == first
    other = receipt(plant, {"store": "MAIN", "lot": "B-1", "quantity": 2}, differs_because="two came")
    refused = plant.post("/v1/stock/receipts", other, expect=409)
    assert (refused["receipt"], "1 came" in refused["detail"]) == (first["id"], True)
    assert shelf(plant, "BR-1")["MAIN", "B-1"]["on_hand"] == 1


def test_the_folder_that_marks_the_line_as_received_too_does_not_double_it(plant: RunningPlant) -> None:
    plant.later(hours=1)
    plant.post("/v1/stock/receipts", receipt(plant), expect=201)
    came = {"order": "PO-9", "line": "1", "part_number": "BR-1", "quantity": 1, "received_at": iso(plant.now)}
    came |= {"expected_at": iso(plant.now + timedelta(days=3)), "recorded_at": iso(plant.now)}
    plant.later(hours=1)
    plant.take_in(SmallPlant(plant.now, {"supply": [came]}))
    assert sum(row["on_hand"] for row in shelf(plant, "BR-1").values()) == 1


def test_a_receipt_is_no_count_of_its_part(plant: RunningPlant) -> None:
    """Supply that the folder marked as received stands in store `received` until somebody counts the part."""
    came = {"order": "PO-8", "line": "1", "part_number": "BR-1", "quantity": 3, "expected_at": iso(plant.now)}
    plant.later(hours=1)
    marked = came | {"received_at": iso(plant.now), "recorded_at": iso(plant.now)}
    plant.later(hours=1)
    plant.take_in(SmallPlant(plant.now, {"supply": [marked]}))
    plant.post("/v1/stock/receipts", receipt(plant), expect=201)
    told = {place: row["on_hand"] for place, row in shelf(plant, "BR-1").items()}
    assert told == {("received", "PO-8/1"): 3, ("MAIN", "B-1"): 1}
    plant.later(hours=1)
    away = move(plant, 3, part_number="BR-1", to={"store": "MAIN", "lot": "B-2"})
    plant.post("/v1/stock/moves", away | {"from": {"store": "received", "lot": "PO-8/1"}}, expect=201)
    told = {place: row["on_hand"] for place, row in shelf(plant, "BR-1").items() if row["on_hand"]}
    assert told == {("MAIN", "B-2"): 3, ("MAIN", "B-1"): 1}
    plant.later(hours=1)
    counted = part_count(plant, 2, part_number="BR-1", lot="B-2")
    plant.post("/v1/stock/counts", counted, expect=201)
    told = {place: row["on_hand"] for place, row in shelf(plant, "BR-1").items() if row["on_hand"]}
    assert told == {("MAIN", "B-2"): 2, ("MAIN", "B-1"): 1}


def test_oil_that_came_is_on_the_shelf_and_in_the_demand_once(plant: RunningPlant) -> None:
    ordered = {"order": "PO-7", "line": "1", "fluid": "OIL-68", "quantity": 2, "expected_at": iso(plant.now)}
    plant.take_in(SmallPlant(plant.now, {"supply": [ordered]}))
    plant.later(hours=1)
    into = {"store": "MAIN", "lot": "D-9", "container": LITRES, "quantity": 2}
    body = receipt(plant, into, order="PO-7")
    assert plant.post("/v1/stock/receipts", body, expect=201)["fluid"] == "OIL-68"
    told = shelf(plant, "OIL-68")["MAIN", "D-9"]
    assert (told["containers"], told["on_hand"]["value"]) == (2.0, 416.0)
    plant.later(hours=1)
    with plant.database.reading() as connection:
        store = load_store(connection, plant.now, {})
    assert sum(held.quantity for held in store.fluids["OIL-68"].held) == 416.0


def test_a_receipt_that_cannot_be_is_refused(plant: RunningPlant) -> None:
    before = plant.dump("stock", "supply", "stock_movements", "receipts")
    into = {"store": "MAIN", "quantity": 1}
    for change, status, says in (
        ({"line": "7"}, 404, "no line PO-9/7"),
        ({"into": [into | {"quantity": 3}]}, 422, "differs_because"),
        ({"into": [into | {"container": LITRES}]}, 422, "is a part"),
        ({"into": [into | {"quantity": 0.5}], "differs_because": "half"}, 422, "whole number"),
        ({"into": [into | {"store": "received"}]}, 422, "say where it lies"),
        ({"into": []}, 422, "into"),
        ({"received_at": "2027-01-01T00:00:00Z"}, 422, "in the future"),
    ):
        assert says in plant.post("/v1/stock/receipts", receipt(plant) | change, expect=status)["detail"]
    assert plant.dump("stock", "supply", "stock_movements", "receipts") == before


def test_a_lot_does_not_expire_at_two_times(plant: RunningPlant) -> None:
    plant.later(hours=1)
    ordered = {"order": "PO-6", "line": "1", "part_number": "EL-10", "quantity": 1, "expected_at": iso(plant.now)}
    plant.take_in(SmallPlant(plant.now, {"supply": [ordered]}))
    plant.later(hours=1)
    into = {"store": "MAIN", "lot": "L-1", "quantity": 1, "expires_at": iso(plant.now + timedelta(days=9))}
    refused = plant.post("/v1/stock/receipts", receipt(plant, into, order="PO-6"), expect=422)
    assert refused["errors"][0]["member"] == "into.0.expires_at"
    del into["expires_at"]
    plant.post("/v1/stock/receipts", receipt(plant, into, order="PO-6"), expect=201)
    assert shelf(plant, "EL-10")["MAIN", "L-1"]["on_hand"] == 2


def test_what_is_moved_is_gone_here_and_there_with_its_use_by(plant: RunningPlant) -> None:
    plant.later(hours=1)
    told = plant.post("/v1/stock/moves", move(plant, 2, to={"store": "VAN", "bin": "V1"}), expect=201)
    assert (told["left"], told["now_there"]) == (1.0, 2.0)
    found = shelf(plant, "EL-10")
    assert (found["MAIN", "L-2"]["on_hand"], found["VAN", "L-2"]["on_hand"]) == (1, 2)
    assert found["VAN", "L-2"]["expires_at"] == found["MAIN", "L-2"]["expires_at"]
    assert found["VAN", "L-2"]["bin"] == "V1"


def test_what_leaves_the_stock_leaves_with_the_reason(plant: RunningPlant) -> None:
    plant.later(hours=1)
    assert "why" in plant.post("/v1/stock/moves", move(plant), expect=422)["detail"]
    plant.post("/v1/stock/moves", move(plant, why="scrapped: box was wet"), expect=201)
    (row,) = plant.get("/v1/stock/movements")["items"]
    assert (row["quantity"], row["source"].partition(": ")[2]) == (-1.0, "scrapped: box was wet")
    assert plant.on_hand("EL-10") == 3
    refused = plant.post("/v1/stock/moves", move(plant, 3, why="scrapped"), expect=409)
    assert "the books have 2" in refused["detail"]


def test_a_move_from_before_a_count_is_in_that_count_already(plant: RunningPlant) -> None:
    plant.later(hours=2)
    plant.post("/v1/stock/counts", part_count(plant, 3, lot="L-2"), expect=201)
    body = move(plant, at=iso(plant.now - timedelta(hours=1)), to={"store": "VAN"})
    assert "already" in plant.post("/v1/stock/moves", body, expect=409)["detail"]


def test_a_repeat_with_its_key_gets_the_first_answer_and_moves_nothing(plant: RunningPlant) -> None:
    plant.later(hours=1)
    body = move(plant, why="scrapped")
    first = plant.post("/v1/stock/moves", body, expect=201, Idempotency_Key="m-1")
    plant.later(hours=1)
    assert plant.post("/v1/stock/moves", body, expect=201, Idempotency_Key="m-1") == first
    assert plant.on_hand("EL-10") == 3


def test_a_page_goes_on_where_the_last_row_was_though_rows_come_and_go(plant: RunningPlant) -> None:
    everything = plant.get("/v1/stock")["items"]
    page = plant.get("/v1/stock", limit=3)
    plant.later(hours=1)
    early = {"fluid": "OIL-46", "store": "A-STORE", "container": LITRES, "containers": 1}
    plant.post("/v1/stock/counts", {"counted_at": iso(plant.now), "oil": [early]}, expect=201)
    seen = page["items"]
    while page["next"]:
        page = plant.get("/v1/stock", limit=3, cursor=page["next"])
        seen += page["items"]
    assert seen == everything  # the new row stands before the first page
    for number in range(3):
        plant.later(hours=1)
        plant.post("/v1/stock/moves", move(plant, why=f"scrapped {number}"), expect=201)
    page = plant.get("/v1/stock/movements", limit=2)
    rest = plant.get("/v1/stock/movements", limit=2, cursor=page["next"])
    told = [row["source"].rpartition(": ")[2] for row in page["items"] + rest["items"]]
    assert (told, rest["next"]) == ([f"scrapped {number}" for number in range(3)], None)
    for path in ("/v1/stock", "/v1/stock/movements"):
        for cursor in ("x", "WzFd", "W10="):
            assert plant.client.get(path, params={"cursor": cursor}).status_code == 422


def test_a_key_of_some_plants_reads_the_stores_without_others_orders_and_changes_nothing(plant: RunningPlant) -> None:
    plant.post(f"/v1/work-orders/{plant.order_of(RETURN)['id']}/reserve")
    plant.close(position=RETURN)
    plant.later(hours=1)
    with plant.database.writing() as connection:
        scopes = [Scope.READ, Scope.STOCK]
        add_plant(connection, "OTHER")
        key = make_key(connection, "elsewhere", scopes, now=plant.now, plants=["OTHER"])
    other = _client(plant.app, key)
    held = [row["held_for"] for row in shelf(plant, "SK-1", other).values()]
    assert all(each["work_order"] is None for rows in held for each in rows)
    sources = {row["source"] for row in other.get("/v1/stock/movements").json()["items"]}
    assert sources == {"a job in another plant"}
    for path, body in (
        ("counts", part_count(plant, 1)),
        ("receipts", receipt(plant)),
        ("moves", move(plant, why="scrapped")),
    ):
        answer = other.post(f"/v1/stock/{path}", json=body)
        assert (answer.status_code, answer.json()["type"]) == (403, "/problems/not-allowed")
        assert "all plants" in answer.json()["detail"]


def test_the_examples_of_the_description_are_answers_that_could_be_given() -> None:
    for model in (StockList, MovementList, Counts, Receipt, Moved):
        (example,) = model.model_json_schema()["examples"]
        assert model.model_validate_json(json.dumps(example)).model_dump(mode="json").keys() == example.keys()
    for model, told in ((CountsIn, COUNTS_EXAMPLE), (ReceiptIn, RECEIPT_EXAMPLE), (MoveIn, MOVE_EXAMPLE)):
        assert model.model_validate_json(json.dumps(told))


def test_the_stock_file_has_a_sheet_of_parts_and_one_of_oil(plant: RunningPlant) -> None:
    book = plant.client.get("/v1/stock/file", params={"format": "xlsx"}).content
    header, *rows = cells_of(book, "stock")
    assert "on_hand [pieces]" in header
    assert "counted_at [Europe/Oslo]" in header
    assert len(rows) == len([row for row in plant.get("/v1/stock")["items"] if row["what"] == "part"])
    oil = rows_of(plant.client.get("/v1/stock/file", params={"sheet": "oil"}).content)
    assert {(row["lot"], float(row["on_hand [L]"])) for row in oil} == {("D-1", 104.0), ("D-2", 40.0)}


@pytest.mark.one_database_is_enough
def test_the_command_line_counts_receives_and_shows(plant: RunningPlant, tmp_path: Path) -> None:
    words = ("--store", "MAIN", "--lot", "L-1")
    told = run_here(plant, "stock", "count", "EL-10", "7", *words, "--json")
    assert told.exit_code == 0, told.output
    assert json.loads(told.stdout)["rows"][0]["outcome"] == "counted"
    came = ("stock", "receive", "PO-9", "1", "1", "--store", "MAIN", "--lot", "B-1", "--bin", "C3")
    assert run_here(plant, *came, "--at", iso(plant.now)).exit_code == 0
    drum = ("stock", "count", "OIL-46", "1.5", "--container", "208", "--store", "MAIN", "--lot", "D-7")
    assert run_here(plant, *drum).exit_code == 0
    table = run_here(plant, "stock").stdout
    for words_of_row in ("EL-10", "B-1", "1.5 × 208 L = 312 L"):
        assert words_of_row in table
    refused = run_here(plant, "stock", "count", "EL-10", "0.5", *words)
    assert isinstance(refused.exception, Refused)
    assert "on_hand" in str(refused.exception)
    file = tmp_path / "stock.xlsx"
    assert run_here(plant, "stock", "--write", str(file)).exit_code == 0
    assert "EL-10" in {row[0] for row in cells_of(file.read_bytes(), "stock")}
