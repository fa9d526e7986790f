"""Close-outs read back by another system: each once, as it stands, with what was corrected."""

import json
from datetime import timedelta
from typing import Any

import sqlalchemy as sa

from api_schemas.close_outs import CloseOutIn
from scheduler.vocabulary import Scope
from service.keys.answering import digest_of
from service.keys.tables import api_keys, kept_answers
from tests.flow.running_plant import RunningPlant, iso
from tests.flow.small_folder import BREATHER, HOURS_NOW, RETURN, STRAINER


def closed(plant: RunningPlant, position: str, **more: Any) -> dict[str, Any]:
    plant.later(hours=1)
    return dict(plant.close(position=position, hours=HOURS_NOW, **more))


def listed(service: RunningPlant, /, **query: Any) -> list[dict[str, Any]]:
    return list(service.get("/v1/close-outs", **query)["items"])


def test_they_come_in_the_order_in_which_they_were_recorded_and_are_found_by_what_they_are_of(
    plant: RunningPlant,
) -> None:
    first = closed(plant, RETURN, external_ref="WO-1", note="even dirt")
    second = closed(plant, STRAINER)
    assert first["external_ref"] == "WO-1"
    assert plant.get(f"/v1/close-outs/{first['id']}")["external_ref"] == "WO-1"
    assert [each["id"] for each in listed(plant)] == [first["id"], second["id"]]
    found = listed(plant)[0]
    assert (found["told"]["note"], found["told"]["hours"], found["corrections"]) == ("even dirt", HOURS_NOW, [])
    for query in ({"external_ref": "WO-1"}, {"position": RETURN}, {"work_order": first["work_order"]}):
        assert [each["id"] for each in listed(plant, **query)] == [first["id"]]
    assert len(listed(plant, system=first["system"])) == 2
    assert listed(plant, external_ref="WO-2") == listed(plant, plant="NOWHERE") == []


def test_pages_lose_and_double_nothing_though_others_are_recorded_meanwhile(plant: RunningPlant) -> None:
    ids = [closed(plant, RETURN)["id"], closed(plant, STRAINER)["id"]]
    page = plant.get("/v1/close-outs", limit=1)
    ids.append(closed(plant, BREATHER)["id"])
    rest = plant.get("/v1/close-outs", limit=5, cursor=page["next"])
    assert [each["id"] for each in page["items"] + rest["items"]] == ids
    assert rest["next"] is None
    assert plant.client.get("/v1/close-outs", params={"cursor": "x"}).status_code == 422


def test_one_that_is_corrected_comes_again_to_who_follows_them(plant: RunningPlant) -> None:
    first = closed(plant, RETURN, external_ref="WO-1")
    second = closed(plant, STRAINER)
    since = second["recorded_at"]
    assert [each["id"] for each in listed(plant, recorded_after=since)] == [second["id"]]
    later = iso(plant.later(minutes=1))
    assert listed(plant, recorded_after=later) == []
    plant.later(minutes=1)
    correction = {"why": "the code of another job", "external_ref": "WO-9", "note": "seal changed, too"}
    plant.post(f"/v1/close-outs/{first['id']}/corrections", correction, expect=201)
    (again,) = listed(plant, recorded_after=later)
    assert (again["id"], again["external_ref"], again["told"]["note"]) == (first["id"], "WO-9", "seal changed, too")
    members = {each["member"]: (each["earlier"], each["new"]) for each in again["corrections"][0]["changed"]}
    assert members["external_ref"] == ("WO-1", "WO-9")
    assert [each["id"] for each in listed(plant, external_ref="WO-9")] == [first["id"]]
    plant.later(minutes=1)
    plant.post(f"/v1/close-outs/{second['id']}/corrections", {"why": "never happened", "undo": True}, expect=201)
    assert [each["undone_at"] is None for each in listed(plant)] == [True, False]


def test_a_key_of_another_plant_sees_none_of_them(plant: RunningPlant) -> None:
    done = closed(plant, RETURN)
    elsewhere = plant.client_with(Scope.READ, name="elsewhere")
    with plant.database.writing() as connection:
        connection.execute(sa.update(api_keys).where(api_keys.c.name == "elsewhere").values(plants=["ELSEWHERE"]))
    assert elsewhere.get("/v1/close-outs").json() == {"items": [], "next": None}
    own = listed(plant)[0]["plant"]
    assert elsewhere.get("/v1/close-outs", params={"plant": own}).status_code == 403
    assert done["id"] == listed(plant, plant=own)[0]["id"]


def test_a_page_that_says_the_same_has_the_same_etag(plant: RunningPlant) -> None:
    closed(plant, RETURN)
    first, again = (plant.client.get("/v1/close-outs").headers["ETag"] for _ in range(2))
    closed(plant, STRAINER)
    assert first == again != plant.client.get("/v1/close-outs").headers["ETag"]


def test_a_repeat_of_a_close_out_from_before_it_could_name_a_code_is_still_a_repeat(plant: RunningPlant) -> None:
    """What was kept then is the digest of the body with the members that there were."""
    told = {"at": iso(plant.now - timedelta(minutes=5)), "position": RETURN, "hours": HOURS_NOW}
    first = plant.post("/v1/close-outs", told, expect=201, Idempotency_Key="old")
    said = CloseOutIn.model_validate_json(json.dumps(told)).model_dump(mode="json", exclude={"external_ref"})
    with plant.database.reading() as connection:
        kept = connection.scalar(sa.select(kept_answers.c.request_sha256))
    assert kept == digest_of("close-outs", said)
    assert plant.post("/v1/close-outs", told, expect=201, Idempotency_Key="old") == first
