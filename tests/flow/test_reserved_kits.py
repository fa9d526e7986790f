"""Parts and oil are held for one order: no pass, and no other planner, gives them away."""

from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from scheduler.vocabulary import Scope
from tests.flow.running_plant import RunningPlant, copied, make_planned, running
from tests.flow.small_folder import RETURN, SmallPlant, small_plant
from tests.flow.test_at_once import Two, at_once, two_over
from tests.how_often import races

OTHER = "CONV-BR"
BREATHER = "PRESS-BR"
TIMES = races(30)


def plant_with_one_breather() -> SmallPlant:
    """Two breathers near their age limit, on systems of their own, and one new one on the shelf."""
    plant = small_plant()
    breather = {"place": "breather", "part_number": "BR-1", "max_age [d]": 365, "access": "running"}
    plant = plant.with_rows("positions", {"position": OTHER, "system": "CONV", **breather})
    plant = plant.with_rows("installations", {"position": OTHER, "part_number": "BR-1", "fitted_at": plant.at(346)})
    stock = {"part_number": "BR-1", "lot": "B-1", "store": "MAIN", "on_hand": 1, "counted_at": plant.at(10)}
    plant = plant.with_rows("stock", stock)
    return plant.changed("positions", "position", RETURN, housing_volume__L=30)


@pytest.fixture(scope="module")
def short_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_planned(tmp_path_factory.mktemp("short") / "plant.sqlite", plant_with_one_breather())


@pytest.fixture
def plant(short_file: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(short_file, tmp_path / "plant.sqlite")) as served:
        yield served


def breather_lots(plant: RunningPlant) -> dict[str, str | None]:
    found = {}
    for position in (BREATHER, OTHER):
        (pick,) = plant.task_of(position)["picks"]
        found[position] = pick["lot"]
    return found


def reserve(plant: RunningPlant, position: str, expect: int = 200, **body: Any) -> Any:
    order = plant.order_of(position)["id"]
    return plant.post(f"/v1/work-orders/{order}/reserve", body, expect=expect)


def test_what_is_held_is_given_to_no_other_work_though_that_comes_first(plant: RunningPlant) -> None:
    given_first = breather_lots(plant)
    (without,) = [position for position, lot in given_first.items() if lot is None]
    (with_it,) = [position for position, lot in given_first.items() if lot == "B-1"]
    reserve(plant, without)
    assert breather_lots(plant) == {without: "B-1", with_it: None}
    order = plant.order_of(with_it)["id"]
    plant.post(f"/v1/work-orders/{order}/issue")  # issued work comes before drafts, but not before what is held
    plant.run_pass()
    assert breather_lots(plant) == {without: "B-1", with_it: None}
    plant.post(f"/v1/work-orders/{plant.order_of(without)['id']}/release-kit")
    assert breather_lots(plant) == given_first


def test_a_short_kit_is_refused_with_who_holds_it_and_when_supply_comes(plant: RunningPlant) -> None:
    reserve(plant, OTHER)
    before = plant.dump("picks", "oil_picks", "work_orders")
    refused = reserve(plant, BREATHER, expect=409)
    holder = plant.order_of(OTHER)["id"]
    assert refused["type"] == "/problems/kit-short"
    assert f"1 × BR-1 (1 held for work order {holder} by " in refused["detail"]
    assert ", arrives 2026-03-13 with PO-9/1" in refused["detail"]
    assert plant.dump("picks", "oil_picks", "work_orders") == before


def test_what_is_there_is_held_where_a_part_of_the_kit_will_do(plant: RunningPlant) -> None:
    reserve(plant, OTHER)
    order = reserve(plant, BREATHER, as_far_as_possible=True)
    picks = {(task["position"], pick["part_number"]): pick for task in order["tasks"] for pick in task["picks"]}
    assert order["short"]
    assert picks[BREATHER, "BR-1"]["store"] is None
    held = {key for key, pick in picks.items() if pick["reserved_at"]}
    assert held == set(picks) - {(BREATHER, "BR-1")}


def test_holding_twice_changes_nothing_and_a_pass_leaves_it_so(plant: RunningPlant) -> None:
    first = reserve(plant, RETURN, as_far_as_possible=True)
    before = plant.dump("picks", "oil_picks", "work_orders")
    assert reserve(plant, RETURN, as_far_as_possible=True) == first
    plant.run_pass()
    assert plant.dump("picks", "oil_picks", "work_orders") == before


def test_the_oil_that_a_housing_loses_is_in_the_kit_from_the_opened_drum(plant: RunningPlant) -> None:
    (oil,) = plant.task_of(RETURN)["oil"]
    assert (oil["fluid"], oil["volume"], oil["lot"]) == ("OIL-46", {"value": 30.0, "unit": "L"}, "D-1")
    order = plant.order_of(RETURN)["id"]
    sheet = plant.get(f"/v1/work-orders/{order}/kit")
    (line,) = sheet["oil"]
    assert line["mass_kg"] == pytest.approx(30.0 * 0.87, abs=0.05)  # ρV with the 870 kg/m³ of the sheet
    assert line["positions"] == [RETURN]


def test_held_litres_are_no_longer_free(plant: RunningPlant) -> None:
    """104 L are in the opened drum and 40 L in pails: with 30 held, 120 more are short by 6."""
    reserve(plant, RETURN, as_far_as_possible=True)
    plant.take_in(
        plant_with_one_breather().changed("positions", "position", "CONV-DUP-A", housing_volume__L=120, max_age__d=90)
    )
    plant.run_pass()
    oil = plant.task_of("CONV-DUP-A")["oil"]
    assert [(pick["lot"], pick["volume"]["value"]) for pick in oil] == [("D-1", 74.0), ("D-2", 40.0), (None, 6.0)]


def test_the_kit_sheet_adds_up_what_comes_from_one_lot_and_ends_with_what_is_short(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    sheet = plant.get(f"/v1/work-orders/{order['id']}/kit")
    picked: dict[tuple[str, str | None], int] = {}
    for task in order["tasks"]:
        for pick in task["picks"]:
            key = (pick["part_number"], pick["lot"])
            picked[key] = picked.get(key, 0) + pick["quantity"]
    assert {(line["part_number"], line["lot"]): line["quantity"] for line in sheet["parts"]} == picked
    stores = [line["store"] for line in sheet["parts"]]
    assert stores == sorted(stores, key=lambda store: store is None)
    assert sheet["short"] == (None in stores)


def test_an_alternate_whose_seals_the_oil_attacks_is_never_picked(tmp_path: Path) -> None:
    """EPDM swells in mineral oil (general practice: handbook tables)."""
    plant = plant_with_one_breather()
    stock = [row for row in plant.tables["stock"] if row["part_number"] != "EL-10"]
    only_epdm = {"part_number": "EL-10-EPDM", "lot": "E-1", "store": "MAIN", "on_hand": 5, "counted_at": plant.at(10)}
    plant = SmallPlant(plant.now, plant.tables | {"stock": [*stock, only_epdm]})
    with running(make_planned(tmp_path / "plant.sqlite", plant)) as served:
        picks = [pick for pick in served.task_of(RETURN)["picks"] if pick["part_number"].startswith("EL-10")]
        assert [(pick["part_number"], pick["store"]) for pick in picks] == [("EL-10", None)]


def test_an_alternate_comes_with_its_own_seal_kit_and_the_check_knows_it(tmp_path: Path) -> None:
    plant = plant_with_one_breather().with_rows("parts", {"part_number": "SK-F", "kind": "seal_kit"})
    plant = plant.changed("element_types", "part_number", "EL-10-FKM", seal_kit="SK-F")
    counted = {"store": "MAIN", "counted_at": plant.at(10), "on_hand": 2, "lot": "F-1"}
    stock = [row for row in plant.tables["stock"] if row["part_number"] != "EL-10"]
    stock += [{"part_number": part, **counted} for part in ("EL-10-FKM", "SK-F")]
    plant = SmallPlant(plant.now, plant.tables | {"stock": stock})
    with running(make_planned(tmp_path / "plant.sqlite", plant)) as served:
        task = served.task_of(RETURN)
        picked = {pick["part_number"]: pick["instead_of"] for pick in task["picks"]}
        assert picked == {"EL-10-FKM": "EL-10", "SK-F": "SK-1", "TRAY": None}
        assert served.post("/v1/checks", {"task": task["id"], "part_number": "SK-F"})["verdict"] != "refused"
        order = served.order_of(RETURN)["id"]
        held = served.post(f"/v1/work-orders/{order}/reserve", {"as_far_as_possible": True})
        served.run_pass()
        again = served.get(f"/v1/work-orders/{order}")
        assert [each["picks"] for each in again["tasks"]] == [each["picks"] for each in held["tasks"]]


def test_work_that_has_begun_has_its_parts_in_hand(plant: RunningPlant) -> None:
    order = plant.order_of(OTHER)["id"]
    for verb in ("issue", "start"):
        plant.post(f"/v1/work-orders/{order}/{verb}")
    refused = plant.post(f"/v1/work-orders/{order}/reserve", expect=409)
    assert refused["detail"] == (
        f"work order {order} is underway; its kit is reserved while it is draft or held or issued"
    )


def test_a_technician_may_not_hold_parts(plant: RunningPlant) -> None:
    order = plant.order_of(OTHER)["id"]
    technician = plant.client_with(Scope.READ, Scope.WORK, name="technician")
    assert technician.post(f"/v1/work-orders/{order}/reserve").status_code == 403


def test_of_two_planners_who_reserve_the_last_element_at_once_exactly_one_gets_it(
    short_file: Path, tmp_path: Path
) -> None:
    with two_over(copied(short_file, tmp_path / "plant.sqlite")) as both:
        _race(both)


def _race(both: Two) -> None:
    one, other = both
    orders = [one.order_of(position)["id"] for position in (BREATHER, OTHER)]
    (plain,) = {row["id"] for row in one.rows("tasks", position=OTHER, state="open")}
    won = []
    with at_once() as both_at_once:
        for _ in range(TIMES):
            answers = both_at_once(
                *(
                    partial(plant.client.post, f"/v1/work-orders/{order}/reserve")
                    for plant, order in zip((one, other), orders, strict=True)
                )
            )
            assert sorted(answer.status_code for answer in answers) == [200, 409], [each.text for each in answers]
            held = [row for row in one.rows("picks", part_number="BR-1") if row["reserved_at"] is not None]
            assert [(row["lot"], row["quantity"]) for row in held] == [("B-1", 1)]
            winner = orders[[answer.status_code for answer in answers].index(200)]
            assert (held[0]["task"] == plain) == (winner == orders[1])
            won.append(winner)
            one.post(f"/v1/work-orders/{winner}/release-kit")
    assert len(won) == TIMES
