"""What plants share, and what a key of one plant can do by itself: its own work from the first step to the last."""

import io
import zipfile
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from scheduler.vocabulary import Scope
from tests.service import evidence_files
from tests.service.two_plants import ELEMENT, LAST_READING, LOT, OURS, THEIRS, TwoPlants, two_plants


@pytest.fixture(scope="module")
def plants(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TwoPlants]:
    with two_plants(tmp_path_factory.mktemp("share")) as both:
        yield both


def test_a_shift_of_one_plant_does_its_whole_job_and_the_other_plant_stays_as_it_was(plants: TwoPlants) -> None:
    own = plants.things[OURS]
    foreign = plants.office.get(f"/v1/work-orders/{plants.theirs['order_id']}").json()
    key = plants.key(Scope.READ, Scope.PLAN, Scope.WORK, name="shift B")
    with plants.service.client(key) as shift:
        order = f"/v1/work-orders/{own['order_id']}"
        assert shift.post(f"{order}/reserve").status_code == 200
        assert shift.post(f"{order}/start").json()["started_by"] == "shift B"
        checked = shift.post("/v1/checks", json={"task": int(own["task"]), "part_number": ELEMENT, "lot": LOT})
        assert checked.json()["position"] == own["position"]
        at = (LAST_READING + timedelta(hours=1)).isoformat()
        closed = shift.post("/v1/close-outs", json={"task": int(own["task"]), "at": at, "element": {"lot": LOT}})
        assert closed.status_code == 201, closed.text
        done = f"/v1/close-outs/{closed.json()['id']}"
        assert closed.json()["recorded_by"] == "shift B"
        assert shift.post(f"{done}/corrections", json={"why": "forgotten", "note": "by two"}).status_code == 201
        assert shift.post(f"{done}/files", files={"file": ("seal.png", evidence_files.png())}).status_code == 201
        assert shift.get(f"/v1/due/{own['position']}").json() == shift.get(done).json()["next_due"]
    assert plants.office.get(f"/v1/work-orders/{plants.theirs['order_id']}").json() == foreign


def test_who_holds_the_last_part_is_told_to_those_who_see_that_work(tmp_path: Path) -> None:
    with two_plants(tmp_path) as plants:
        _reserve_more_than_there_is(plants)


def _reserve_more_than_there_is(plants: TwoPlants) -> None:
    theirs, own = plants.theirs["order_id"], plants.things[OURS]["order_id"]
    assert plants.office.post(f"/v1/work-orders/{theirs}/reserve").status_code == 200
    says = {
        name: client.post(f"/v1/work-orders/{own}/reserve").json()["detail"]
        for name, client in (("ours", plants.ours), ("office", plants.office))
    }
    assert f"2 held for work order {theirs} by office" in says["office"]
    assert "2 held for other work" in says["ours"]
    assert "office" not in says["ours"]
    taken = plants.office.post(f"/v1/work-orders/{own}/reserve", json={"as_far_as_possible": True})
    assert taken.status_code == 200
    steps = plants.ours.get(f"/v1/work-orders/{own}/history").json()["items"]
    assert "2 held for other work" in steps[-1]["note"]
    assert f"work order {theirs}" not in steps[-1]["note"]


def test_what_all_plants_share_is_read_by_every_key_and_its_demand_is_not(plants: TwoPlants) -> None:
    for path in ("/v1/calibration", "/v1/clock"):
        assert plants.ours.get(path).status_code == 200
    for path in ("/v1/demand", "/v1/demand/buying", "/v1/demand/file", "/v1/demand/learned", "/v1/imports/1"):
        answer = plants.ours.get(path)
        assert (answer.status_code, answer.json()["type"]) == (403, "/problems/not-allowed")
        assert f"'{OURS}-PLANT' only" in answer.json()["detail"]
        assert plants.office.get(path).status_code == 200
    before = plants.everything_kept()
    assert plants.ours.post("/v1/passes").status_code == 403
    assert plants.ours.post("/v1/imports", files={"file": ("plant.zip", b"PK")}).status_code == 403
    assert plants.everything_kept() == before


def test_a_key_of_both_plants_sees_both_and_may_still_not_import(plants: TwoPlants) -> None:
    both = plants.key(Scope.ADMINISTER, name="both", plants=(f"{OURS}-PLANT", f"{THEIRS}-PLANT"))
    with plants.service.client(both) as client:
        seen = {item["plant"] for item in client.get("/v1/due").json()["items"]}
        assert seen == {f"{OURS}-PLANT", f"{THEIRS}-PLANT"}
        assert client.get(f"/v1/files/{plants.theirs['file_id']}").status_code == 200
        assert client.post("/v1/passes").status_code == 403


def test_a_plant_without_systems_has_empty_lists(plants: TwoPlants) -> None:
    """Of a key whose plant has nothing yet."""
    told = {"name": "of nothing", "scopes": ["read"], "plants": ["EMPTY"]}
    folder = b"plant,time_zone,currency\nEMPTY,Europe/Oslo,NOK\n"
    assert plants.office.post("/v1/imports", files={"file": ("p.zip", _zipped(folder))}).status_code == 201
    with plants.service.client(plants.office.post("/v1/keys", json=told).json()["secret"]) as client:
        for path in ("/v1/due", "/v1/due/changes", "/v1/work-orders", "/v1/checks", "/v1/oil"):
            assert client.get(path).json()["items"] == []


def _zipped(plants_table: bytes) -> bytes:
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w") as archive:
        archive.writestr("plants.csv", plants_table)
    return kept.getvalue()
