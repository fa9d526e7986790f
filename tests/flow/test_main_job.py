"""The main job from a plant folder to the next due date, as its users live it."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from tests.flow.command_line import said_by
from tests.flow.running_plant import Rows, RunningPlant, iso, oil, warm
from tests.flow.small_folder import (
    BREATHER,
    HOURS_NOW,
    RETURN,
    SIDE_A,
    SIDE_B,
    STRAINER,
    UNKNOWN,
    small_plant,
)

FIXED_MEMBERS = {
    *("position", "system", "part_number", "as_of", "due_at", "due_early", "due_median", "due_late"),
    *("hours_left", "overdue_hours", "trigger", "reason", "pressure", "diagnoses"),
}
"""contract.md, "`elementdue due --json` and `GET /v1/due`"."""

TRIGGERS = {"hours", "age", "pressure", "life", "cleanliness", "indicator", "event"}
WORK = ("work_orders", "tasks", "picks", "diagnoses")


def test_the_due_list_has_the_fixed_members_and_every_position_in_service(plant: RunningPlant) -> None:
    items = plant.get("/v1/due")["items"]
    assert {item["position"] for item in items} == {RETURN, STRAINER, BREATHER, SIDE_A, SIDE_B, UNKNOWN}
    for item in items:
        assert set(item) >= FIXED_MEMBERS
        assert item["trigger"] in TRIGGERS | {None}
        assert item["reason"]
        if item["pressure"] is not None:
            assert set(item["pressure"]) == {"hours_left_10", "hours_left_50", "hours_left_90"}
        for note in item["diagnoses"]:
            assert set(note) >= {"code", "severity", "says"}
            assert note["severity"] in {"note", "soon", "now"}


def test_the_due_list_is_sorted_by_date_with_those_without_a_date_last(plant: RunningPlant) -> None:
    dates = [item["due_at"] for item in plant.get("/v1/due")["items"]]
    dated = [datetime.fromisoformat(date) for date in dates if date is not None]
    assert None in dates
    assert len(dated) >= 4
    assert dates[len(dated) :] == [None] * (len(dates) - len(dated))
    assert dated == sorted(dated)
    assert all(date.utcoffset() is not None for date in dated)


def test_each_due_date_lies_in_its_band_and_says_which_trigger_binds(plant: RunningPlant) -> None:
    due = {item["position"]: item for item in plant.get("/v1/due")["items"]}
    assert due[RETURN]["trigger"] == "pressure"
    assert due[STRAINER]["trigger"] == "hours"
    assert due[BREATHER]["trigger"] == "age"
    for code in (RETURN, STRAINER, BREATHER):
        early, median, late = (
            datetime.fromisoformat(due[code][name]) for name in ("due_early", "due_median", "due_late")
        )
        assert early <= median <= late
    # fitted 345 days ago, to be changed after 365
    assert datetime.fromisoformat(due[BREATHER]["due_at"]) == plant.now + timedelta(days=20)
    # 8 h a day for 120 days of the 1,000 h allowed: 40 h, five days, are left at the meter's own rate
    assert due[STRAINER]["hours_left"] == pytest.approx(40.0, abs=4.0)


def test_a_position_of_which_nothing_is_known_says_so(plant: RunningPlant) -> None:
    item = plant.due(UNKNOWN)
    assert (item["part_number"], item["due_at"], item["trigger"]) == (None, None, None)
    assert "fitted" in item["reason"]
    assert [note["code"] for note in item["diagnoses"]] == ["nothing-known-fitted"]
    assert plant.task_of(UNKNOWN)["kind"] == "inspect"


def test_a_list_turned_by_pages_is_the_whole_list_of_one_pass(plant: RunningPlant) -> None:
    whole = plant.get("/v1/due")["items"]
    first = plant.get("/v1/due", limit=2)
    plant.run_pass()
    items, cursor = first["items"], first["next"]
    while cursor is not None:
        page = plant.get("/v1/due", limit=2, cursor=cursor)
        assert page["planned"]["id"] == first["planned"]["id"]
        items, cursor = items + page["items"], page["next"]
    assert items == whole


def test_a_pass_drafts_the_work_in_the_plants_stop_with_parts_picked_from_the_shelf(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    assert order["state"] == "draft"
    assert order["stop_starts_at"] is not None
    assert datetime.fromisoformat(order["stop_starts_at"]) == plant.now + timedelta(days=10)
    assert datetime.fromisoformat(order["planned_for"]) <= datetime.fromisoformat(plant.due(RETURN)["due_at"])
    (task,) = order["tasks"]
    picked = [(pick["part_number"], pick["quantity"], pick["store"], pick["lot"]) for pick in task["picks"]]
    assert picked == [("EL-10", 1, "MAIN", "L-1"), ("SK-1", 1, "MAIN", "K-1"), ("TRAY", 2, "MAIN", "")]
    assert order["cautions"]
    assert any("ISO-17" in caution for caution in order["cautions"])


def test_what_is_not_on_the_shelf_is_a_shortage_that_names_the_order_it_comes_with(plant: RunningPlant) -> None:
    order = plant.order_of(BREATHER)
    (pick,) = order["tasks"][0]["picks"]
    assert order["short"]
    assert (pick["part_number"], pick["store"], pick["arrives_with"]) == ("BR-1", None, "PO-9/1")


def _closed(plant: RunningPlant) -> dict[str, Any]:
    order = plant.order_of(RETURN)
    plant.post(f"/v1/work-orders/{order['id']}/issue")
    plant.later(days=10)
    plant.post(f"/v1/work-orders/{order['id']}/start")
    plant.later(hours=2)
    return dict(
        plant.close(
            task=order["tasks"][0]["id"],
            hours=HOURS_NOW + 80,
            dp_before=warm(1.85),
            dp_after=warm(0.45),
            element={"lot": "L-1", "serial": "77"},
            oil=[oil("OIL-46", 4, through_filter=True)],
            condition="even dirt",
            done_by="shift B",
        )
    )


def test_a_close_out_ends_the_installation_and_begins_the_next(plant: RunningPlant) -> None:
    answer = _closed(plant)
    ended = [row for row in plant.holds_now("installations", position=RETURN) if row["lot"] == "L-OLD"]
    assert len(ended) == 1
    assert (ended[0]["removed_at"], ended[0]["removed_hours"]) == (plant.now, HOURS_NOW + 80)
    # three weeks before it was due: the life says nothing of a limit
    assert (ended[0]["reason"], ended[0]["condition"]) == ("early", "even dirt")
    (fitted,) = plant.holds_now("installations", position=RETURN, removed_at=None)
    assert (fitted["fitted_at"], fitted["part_number"], fitted["lot"]) == (plant.now, "EL-10", "L-1")
    assert (fitted["serial"], fitted["fitted_hours"]) == ("77", HOURS_NOW + 80)
    assert {row["source"] for row in (ended[0], fitted)} == {f"close-out {answer['id']}"}


def test_a_close_out_keeps_what_was_known_before_it(plant: RunningPlant) -> None:
    _closed(plant)
    versions = plant.rows("installations", position=RETURN, lot="L-OLD")
    assert [row["removed_at"] is None for row in versions] == [True, False]
    assert versions[0]["superseded_at"] == versions[1]["recorded_at"] == plant.now


def test_a_close_out_books_parts_and_oil(plant: RunningPlant) -> None:
    answer = _closed(plant)
    moved = {(row["part_number"], row["lot"], row["quantity"]) for row in plant.rows("stock_movements")}
    assert moved == {("EL-10", "L-1", -1), ("SK-1", "K-1", -1), ("TRAY", "", -2)}
    (poured,) = plant.rows("oil_movements")
    assert (poured["lot"], poured["container_L"]) == ("D-1", 208)  # the opened drum first
    assert poured["quantity"] * poured["container_L"] == pytest.approx(-4.0)
    (top_up,) = plant.rows("top_ups")
    assert (top_up["fluid"], top_up["volume_L"], top_up["through_filter"]) == ("OIL-46", 4.0, "yes")
    assert top_up["source"] == f"close-out {answer['id']}"


def test_a_close_out_keeps_the_hours_and_the_dp_before_and_after(plant: RunningPlant) -> None:
    _closed(plant)
    (meter,) = plant.rows("meter_readings", system="PRESS", at=plant.now)
    assert (meter["hours"], meter["kind"]) == (HOURS_NOW + 80, "reading")
    readings = {row["stage"]: row["dp_bar"] for row in plant.rows("dp_readings", position=RETURN, at=plant.now)}
    assert readings == {"before": 1.85, "after": 0.45}


def test_a_close_out_ends_the_order_and_answers_with_a_later_due_date(plant: RunningPlant) -> None:
    before = datetime.fromisoformat(plant.due(RETURN)["due_at"])
    answer = _closed(plant)
    order = plant.get(f"/v1/work-orders/{answer['work_order']}")
    assert (order["state"], order["tasks"][0]["state"]) == ("done", "done")
    assert datetime.fromisoformat(answer["next_due"]["due_at"]) > before + timedelta(days=30)
    assert answer["next_due"] == plant.due(RETURN)
    assert plant.get(f"/v1/close-outs/{answer['id']}") == answer
    assert (answer["done_by"], answer["recorded_by"]) == ("shift B", plant.get("/v1/me")["name"])
    assert not list(plant.orders(position=RETURN))


def test_a_person_who_asks_for_the_due_list_sees_the_new_date_at_once(plant: RunningPlant) -> None:
    answer = _closed(plant)
    (item,) = [item for item in plant.get("/v1/due")["items"] if item["position"] == RETURN]
    assert item == answer["next_due"]


@pytest.mark.one_database_is_enough
def test_the_command_line_and_the_api_tell_the_same_due_list(plant: RunningPlant) -> None:
    _closed(plant)
    assert said_by(plant, "due", "--json") == plant.get("/v1/due")


def _work(plant: RunningPlant) -> dict[str, Rows]:
    return plant.dump(*WORK)


def test_a_second_pass_with_no_news_changes_nothing(plant: RunningPlant) -> None:
    before = _work(plant)
    plant.run_pass()
    assert _work(plant) == before


def test_a_pass_with_no_news_after_a_close_out_changes_nothing(plant: RunningPlant) -> None:
    _closed(plant)
    plant.run_pass()  # the first one pools the new life with the others
    before = _work(plant)
    plant.run_pass()
    assert _work(plant) == before


def test_a_pass_an_hour_later_withdraws_and_raises_nothing(plant: RunningPlant) -> None:
    before = _work(plant)
    plant.later(hours=1)
    plant.run_pass()
    after = _work(plant)
    for table in WORK:
        assert [row["id"] for row in after[table]] == [row["id"] for row in before[table]]


def test_a_draft_that_somebody_reads_is_not_changed_by_passes_without_news(plant: RunningPlant) -> None:
    read = {order["id"]: order["version"] for order in plant.orders()}
    for _ in range(5):
        plant.later(hours=1)
        plant.run_pass()
    assert {order["id"]: order["version"] for order in plant.orders()} == read
    plant.post("/v1/work-orders/1/issue", If_Match=f'"{read[1]}"')


def test_an_inspection_that_waits_stays_due_since_it_was_first_asked_for(plant: RunningPlant) -> None:
    asked_at = plant.now
    plant.later(days=9)
    plant.run_pass()
    assert datetime.fromisoformat(plant.task_of(UNKNOWN)["due_at"]) == asked_at
    assert datetime.fromisoformat(plant.order_of(UNKNOWN)["planned_for"]) == asked_at


def test_importing_the_same_folder_again_changes_nothing(plant: RunningPlant) -> None:
    before = plant.dump()
    outcome = plant.take_in(small_plant())
    assert outcome["changes"] == []
    assert {name for counts in outcome["tables"].values() for name, n in counts.items() if n} == {"unchanged"}
    after = plant.dump()
    del before["imports"], after["imports"]  # the import itself is on record
    assert after == before


def test_importing_the_first_folder_again_after_a_close_out_undoes_nothing(plant: RunningPlant) -> None:
    _closed(plant)
    before = plant.dump()
    plant.take_in(small_plant())
    after = plant.dump()
    del before["imports"], after["imports"]
    assert after == before


def test_before_the_first_pass_the_due_list_says_what_is_missing(nothing_yet: RunningPlant) -> None:
    nothing_yet.take_in(small_plant())
    answer = nothing_yet.client.get("/v1/due")
    assert answer.status_code == 409
    assert "pass" in answer.json()["detail"]


def test_a_change_on_a_plant_without_a_pass_yet_is_recorded_and_planned(nothing_yet: RunningPlant) -> None:
    nothing_yet.take_in(small_plant())
    answer = nothing_yet.close(position=RETURN, hours=HOURS_NOW)
    assert answer["next_due"]["position"] == RETURN
    assert len(nothing_yet.get("/v1/due")["items"]) == 6


@pytest.mark.one_database_is_enough
def test_a_job_is_listed_shown_and_closed_on_the_command_line(plant: RunningPlant) -> None:
    order = plant.order_of(STRAINER)
    task = order["tasks"][0]["id"]
    said_by(plant, "jobs", "issue", str(order["id"]), as_json=False)
    said_by(plant, "jobs", "start", str(order["id"]), as_json=False)
    assert said_by(plant, "jobs", "show", str(order["id"]), "--json")["state"] == "underway"
    answer = said_by(
        *(plant, "jobs", "close", "--task", str(task), "--at", iso(plant.now), "--hours", str(HOURS_NOW)),
        *("--oil", "OIL-46:12 L", "--json"),
    )
    assert (answer["position"], answer["mismatches"]) == (STRAINER, [])
    assert plant.get(f"/v1/work-orders/{order['id']}")["state"] == "done"
    (poured,) = plant.rows("top_ups")
    assert poured["volume_L"] == 12.0


def test_a_dp_told_in_another_unit_is_kept_in_bar(plant: RunningPlant) -> None:
    plant.close(position=RETURN, hours=HOURS_NOW, dp_before={"dp": {"value": 29.0, "unit": "psi"}})
    (kept,) = plant.rows("dp_readings", position=RETURN, at=plant.now)
    assert kept["dp_bar"] == pytest.approx(29.0 * 0.0689476, rel=1e-5)  # 1 psi = 6.89476 kPa (NIST SP 811, app. B)
