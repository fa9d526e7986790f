"""What is carried: everything of one order, whole or not there, in the order in which the systems are walked."""

import os

import pytest

from api_schemas.client import ProblemRefused
from api_schemas.client.pack import carried, carried_pack, keep_pack, put_down
from api_schemas.packs import CheckSheet, Pack, PartRole
from scheduler.vocabulary import Scope
from service.keys.keeping import make_key
from tests.client.technician import Technician
from tests.flow.running_plant import RunningPlant, add_plant
from tests.flow.small_folder import RETURN, small_plant


@pytest.fixture
def pack(technician: Technician) -> Pack:
    return technician.client.pack(technician.plant.order_of(RETURN)["id"])


def test_a_pack_has_the_card_the_kit_and_a_sheet_for_each_open_task(technician: Technician, pack: Pack) -> None:
    order = pack.order
    assert pack.order == technician.client.work_order(order.id)
    assert pack.kit == technician.client.kit(order.id)
    assert pack.card == technician.plant.client.get(f"/v1/work-orders/{order.id}/card").text
    assert [sheet.task for sheet in pack.sheets] == [task.id for task in order.tasks if task.state == "open"]
    assert (pack.good_until - pack.made_at).days == 14


def test_a_sheet_names_what_may_be_fitted_with_its_lots_and_what_may_not(technician: Technician, pack: Pack) -> None:
    (task,) = [task for task in pack.order.tasks if task.position == RETURN]
    (sheet,) = [sheet for sheet in pack.sheets if sheet.task == task.id]
    # the small folder: EL-10 with seal kit SK-1 and trays; EPDM does not stand HM oil (general practice, handbooks)
    assert [(part.part_number, part.role) for part in sheet.parts] == [
        ("EL-10", PartRole.SPECIFIED),
        ("EL-10-FKM", PartRole.ALTERNATE),
        ("EL-10-EPDM", PartRole.ALTERNATE),
        ("SK-1", PartRole.SEAL_KIT),
        ("TRAY", PartRole.KIT_LINE),
    ]
    assert [part.objection for part in sheet.parts] == [None, None, "refuse", None, None]
    assert [(lot.lot, lot.bin) for lot in sheet.parts[0].lots] == [("L-1", "A1"), ("L-2", "A1")]
    assert [(fluid.fluid, fluid.objection) for fluid in sheet.fluids] == [("OIL-46", None), ("OIL-68", "refuse")]
    assert {(lot.lot, lot.container.value) for lot in sheet.fluids[0].lots} == {("D-1", 208.0), ("D-2", 20.0)}
    assert sheet.room.certain.value == 0.0


def test_a_key_of_another_plant_finds_no_pack(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)["id"]
    with plant.database.writing() as connection:
        add_plant(connection, "OTHER")
        key = make_key(connection, "elsewhere", [Scope.READ], now=plant.now, plants=["OTHER"])
    headers = {"Authorization": f"Bearer {key}"}
    told = [plant.client.get(f"/v1/work-orders/{each}/pack", headers=headers).json() for each in (order, order + 999)]
    assert [document["status"] for document in told] == [404, 404]
    assert told[0]["detail"].replace(str(order), "#") == told[1]["detail"].replace(str(order + 999), "#")


def test_a_carried_pack_is_read_as_it_was_fetched_and_only_its_owner_may(technician: Technician, pack: Pack) -> None:
    path = keep_pack(technician.folder, pack)
    assert carried_pack(technician.folder, pack.order.id) == pack
    assert path.stat().st_mode & 0o777 == 0o600
    assert technician.folder.stat().st_mode & 0o777 == 0o700
    put_down(technician.folder, pack.order.id)
    assert carried(technician.folder) == ([], [])


def test_a_pack_that_could_not_be_written_to_its_end_leaves_the_older_one(
    technician: Technician, pack: Pack, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep_pack(technician.folder, pack)

    def disk_full(_handle: int) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(os, "fsync", disk_full)
    with pytest.raises(OSError, match="no space"):
        keep_pack(technician.folder, pack.model_copy(update={"card": "newer"}))
    assert carried(technician.folder) == ([pack], [])


def test_a_damaged_pack_is_told_and_the_others_are_listed(technician: Technician, pack: Pack) -> None:
    keep_pack(technician.folder, pack)
    (technician.folder / "jobs" / "77.json").write_text(pack.model_dump_json()[:500])
    assert carried(technician.folder) == ([pack], ["77.json cannot be read: fetch work order 77 again"])


def test_jobs_are_walked_by_day_then_by_round_then_as_people_count(technician: Technician, pack: Pack) -> None:
    def at(number: int, system: str, place: int | None, day: int) -> None:
        order = pack.order.model_copy(
            update={"id": number, "system": system, "planned_for": pack.order.planned_for.replace(day=day)}
        )
        keep_pack(technician.folder, pack.model_copy(update={"order": order, "walking_order": place}))

    at(1, "PRESS10", None, 7)
    at(2, "PRESS9", None, 7)
    at(3, "SAW1", 20, 7)
    at(4, "ZINC", 3, 7)
    at(5, "ABLE", None, 6)
    packs, _ = carried(technician.folder)
    assert [pack.order.id for pack in packs] == [5, 4, 3, 2, 1]


def test_the_round_of_the_plant_folder_is_in_the_pack(technician: Technician) -> None:
    plant = technician.plant
    plant.take_in(small_plant().changed("systems", "system", "PRESS", walking_order=12))
    assert technician.client.pack(plant.order_of(RETURN)["id"]).walking_order == 12


def test_an_order_that_is_not_there_has_no_pack(technician: Technician) -> None:
    with pytest.raises(ProblemRefused) as refused:
        technician.client.pack(99_999)
    assert refused.value.status == 404


def test_the_example_of_a_sheet_is_one() -> None:
    (example,) = CheckSheet.model_json_schema()["examples"]
    assert CheckSheet.model_validate(example).room.reservoir.value == 400
