"""What a person says to a diagnosis: kept, told, and gone where it no longer fits; the data alone clear it."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from scheduler.vocabulary import Scope
from service.diagnoses.tables import diagnoses
from tests.flow.command_line import run_here, said_by
from tests.flow.running_plant import RunningPlant, copied, running
from tests.flow.small_folder import HOURS_NOW, RETURN

KNOWN = "seal ordered, changed in the stop of week 14"


@pytest.fixture(scope="module")
def with_metal(planned_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job has found metal and water."""
    file = copied(planned_file, tmp_path_factory.mktemp("metal") / "plant.sqlite")
    with running(file) as served:
        served.close(position=RETURN, hours=HOURS_NOW, found=["metal_steel", "water"])
    return file


@pytest.fixture
def plant(with_metal: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(with_metal, tmp_path / "plant.sqlite")) as served:
        served.later(minutes=5)
        yield served


@pytest.fixture
def metal(plant: RunningPlant) -> dict[str, Any]:
    """The diagnosis of the job that found metal."""
    (found,) = plant.get("/v1/diagnoses", code="metal-found")["items"]
    return dict(found)


def acknowledge(plant: RunningPlant, id_: int, note: str = KNOWN, expect: int = 200, **headers: str) -> Any:
    return plant.post(f"/v1/diagnoses/{id_}/acknowledge", {"note": note}, expect=expect, **headers)


def note_at(plant: RunningPlant, code: str) -> Any:
    (note,) = [note for note in plant.due(RETURN)["diagnoses"] if note["code"] == code]
    return note


def test_what_stands_is_listed_with_its_sentence_its_numbers_and_the_most_urgent_first(
    plant: RunningPlant, metal: dict[str, Any]
) -> None:
    listed = plant.get("/v1/diagnoses")["items"]
    urgency = [("now", "soon", "note").index(each["severity"]) for each in listed]
    assert urgency == sorted(urgency)
    assert {"metal-found", "water-found"} <= {each["code"] for each in listed}
    assert metal["says"] == note_at(plant, "metal-found")["says"]
    assert metal["evidence"] == {"found": ["metal_steel"], "at": "2026-03-05T10:00+01:00"}
    assert (metal["position"], metal["acknowledged"], metal["remarks"]) == (RETURN, None, [])
    assert plant.get(f"/v1/diagnoses/{metal['id']}") == metal


def test_pages_of_one_give_the_list(plant: RunningPlant, metal: dict[str, Any]) -> None:
    whole = plant.get("/v1/diagnoses")["items"]
    assert len(whole) > 2
    seen, cursor = [], None
    while cursor is not None or not seen:
        page = plant.get("/v1/diagnoses", limit=1, **({} if cursor is None else {"cursor": cursor}))
        seen += page["items"]
        cursor = page["next"]
    assert seen == whole


def test_who_knows_of_it_is_told_everywhere_and_it_stands_on(plant: RunningPlant, metal: dict[str, Any]) -> None:
    task = plant.task_of(RETURN, "inspect")
    told = acknowledge(plant, metal["id"])
    known = {"at": told["acknowledged"]["at"], "by": told["remarks"][0]["by"], "note": KNOWN}
    assert known["by"] in {row["name"] for row in plant.rows("api_keys")}
    assert told["acknowledged"] == known
    assert told["version"] == metal["version"] + 1
    assert note_at(plant, "metal-found")["acknowledged"] == known
    assert [each["code"] for each in plant.get("/v1/diagnoses", standing="acknowledged")["items"]] == ["metal-found"]
    assert "metal-found" not in {each["code"] for each in plant.get("/v1/diagnoses", standing="unseen")["items"]}
    assert plant.task_of(RETURN, "inspect")["id"] == task["id"]
    plant.later(days=1)
    plant.run_pass()
    assert note_at(plant, "metal-found")["acknowledged"] == known


def test_the_feed_tells_who_knows_of_it(plant: RunningPlant, metal: dict[str, Any]) -> None:
    before = plant.get("/v1/feed", limit=1)["newest"]
    acknowledge(plant, metal["id"])
    lines = [line for line in plant.get("/v1/feed", after=before)["items"] if line["type"].startswith("diagnosis.")]
    assert [(line["type"], line["data"]["acknowledged"]["note"]) for line in lines] == [("diagnosis.changed", KNOWN)]


def test_the_same_note_of_the_same_person_again_changes_nothing(plant: RunningPlant, metal: dict[str, Any]) -> None:
    first = acknowledge(plant, metal["id"])
    kept = plant.dump()
    plant.later(minutes=1)
    assert acknowledge(plant, metal["id"]) == first
    assert plant.dump() == kept
    keyed = acknowledge(plant, metal["id"], "and the pump is watched", Idempotency_Key="k1")
    kept = plant.dump()
    assert acknowledge(plant, metal["id"], "and the pump is watched", Idempotency_Key="k1") == keyed
    assert plant.dump() == kept
    assert [remark["note"] for remark in keyed["remarks"]] == [KNOWN, "and the pump is watched"]


def test_what_became_more_urgent_asks_again(plant: RunningPlant, metal: dict[str, Any]) -> None:
    (water,) = plant.get("/v1/diagnoses", code="water-found")["items"]
    of_water = diagnoses.c.id == water["id"]
    with plant.database.writing() as connection:  # as if it had been less urgent when somebody saw it
        connection.execute(sa.update(diagnoses).where(of_water).values(severity="note"))
    acknowledge(plant, water["id"])
    found = plant.get(f"/v1/diagnoses/{water['id']}")
    assert (found["severity"], found["acknowledged"]) == ("soon", None)
    assert [remark["note"] for remark in found["remarks"]] == [KNOWN]
    assert note_at(plant, "water-found")["acknowledged"] is None


def test_it_can_be_opened_again_and_only_what_was_acknowledged(plant: RunningPlant, metal: dict[str, Any]) -> None:
    path = f"/v1/diagnoses/{metal['id']}/open-again"
    refused = plant.post(path, {"note": "by mistake"}, expect=409)
    assert "not acknowledged" in refused["detail"]
    acknowledge(plant, metal["id"])
    plant.later(minutes=1)
    told = plant.post(path, {"note": "by mistake"})
    assert (told["acknowledged"], note_at(plant, "metal-found")["acknowledged"]) == (None, None)
    said = [(remark["acknowledges"], remark["note"]) for remark in told["remarks"]]
    assert said == [(True, KNOWN), (False, "by mistake")]


def test_the_data_clear_it_whoever_knew_of_it_and_then_there_is_nothing_to_say(
    plant: RunningPlant, metal: dict[str, Any]
) -> None:
    acknowledge(plant, metal["id"])
    plant.later(days=1)
    plant.close(position=RETURN, kind="inspect", element_changed=False, found=["clean"])
    found = plant.get(f"/v1/diagnoses/{metal['id']}")
    assert found["cleared_at"] is not None
    assert metal["id"] in {each["id"] for each in plant.get("/v1/diagnoses", standing="cleared")["items"]}
    kept = plant.dump()
    refused = acknowledge(plant, metal["id"], "too late", expect=409)
    assert "was cleared by the data" in refused["detail"]
    assert plant.dump() == kept


def test_a_decision_on_an_earlier_version_is_refused(plant: RunningPlant, metal: dict[str, Any]) -> None:
    acknowledge(plant, metal["id"])
    kept = plant.dump()
    stale = f'"{metal["version"]}"'
    refused = acknowledge(plant, metal["id"], "I saw it, too", expect=412, If_Match=stale)
    assert refused["version"] == metal["version"] + 1
    assert plant.dump() == kept


def test_a_note_says_something(plant: RunningPlant, metal: dict[str, Any]) -> None:
    refused = acknowledge(plant, metal["id"], "ok", expect=422)
    assert [(error["member"], error["value"]) for error in refused["errors"]] == [("note", "ok")]
    assert acknowledge(plant, 99_999, expect=404)["detail"] == "there is no diagnosis 99999"


def test_a_key_that_only_reads_acknowledges_nothing(plant: RunningPlant, metal: dict[str, Any]) -> None:
    reader = plant.client_with(Scope.READ, name="reader")
    assert reader.post(f"/v1/diagnoses/{metal['id']}/acknowledge", json={"note": KNOWN}).status_code == 403
    assert reader.get(f"/v1/diagnoses/{metal['id']}").json() == metal


@pytest.mark.one_database_is_enough
def test_in_the_due_table_what_is_known_no_longer_asks_for_a_look(plant: RunningPlant, metal: dict[str, Any]) -> None:
    def line() -> str:
        return next(line for line in said_by(plant, "due", "--all", as_json=False).splitlines() if RETURN in line)

    assert line().startswith("*")
    acknowledge(plant, metal["id"])
    assert not line().startswith("*")
    explained = said_by(plant, "due", "--explain", RETURN, as_json=False)
    assert f"NOW metal-found ({metal['id']}): " in explained
    assert f": {KNOWN}\n" in explained


@pytest.mark.one_database_is_enough
def test_the_command_line_lists_shows_acknowledges_and_opens_again(plant: RunningPlant) -> None:
    (standing,) = plant.get("/v1/diagnoses", code="nothing-known-fitted")["items"]
    number = str(standing["id"])
    listed = said_by(plant, "diagnoses", as_json=False)
    assert [number, "SOON", standing["position"]] in [line.split()[:3] for line in listed.splitlines()]
    assert run_here(plant, "diagnoses", "acknowledge", number, "--note", KNOWN).exit_code == 0
    assert "Known since" in said_by(plant, "diagnoses", as_json=False)
    shown = said_by(plant, "diagnoses", "show", number, as_json=False)
    assert f": {KNOWN}\n" in shown
    assert said_by(plant, "diagnoses", "show", number, "--json")["acknowledged"]["note"] == KNOWN
    assert run_here(plant, "diagnoses", "open-again", number, "--note", "by mistake").exit_code == 0
    assert said_by(plant, "diagnoses", "show", number, "--json")["acknowledged"] is None
    refused = run_here(plant, "diagnoses", "open-again", number, "--note", "by mistake")
    assert "not acknowledged" in str(refused.exception)
