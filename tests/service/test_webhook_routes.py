"""Making, seeing and ending webhooks: for administrators, within their plants, with a secret that is shown once."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from scheduler.vocabulary import Scope
from service.keys.keeping import make_key
from tests.flow.running_plant import RunningPlant, copied, make_planned, running
from tests.flow.small_folder import NOW, small_plant
from tests.service.webhook_receiver import Receiver, listed, made, receiving


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_planned(tmp_path_factory.mktemp("hooks") / "plant.sqlite", small_plant())


@pytest.fixture
def plant(planned: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(planned, tmp_path / "plant.sqlite")) as opened:
        yield opened


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with receiving() as opened:
        yield opened


def test_the_secret_is_shown_once_and_gone_with_the_webhook(plant: RunningPlant, receiver: Receiver) -> None:
    listed(plant, receiver.entry)
    body = {"target": receiver.url}
    first = plant.post("/v1/webhooks", body, expect=201, Idempotency_Key="make")
    again = plant.post("/v1/webhooks", body, expect=201, Idempotency_Key="make")
    assert again == first | {"secret": None}
    (shown,) = plant.get("/v1/webhooks")["items"]
    assert shown == {name: value for name, value in first.items() if name != "secret"}
    assert first["secret"] not in json.dumps(plant.get(f"/v1/webhooks/{first['id']}"))
    assert plant.client.delete(f"/v1/webhooks/{first['id']}").status_code == 200
    assert plant.client.get(f"/v1/webhooks/{first['id']}").status_code == 404
    assert plant.get("/v1/webhooks")["items"] == []
    assert plant.rows("webhooks")[0]["secret"] == ""


def test_a_key_of_some_plants_makes_and_sees_webhooks_of_these_alone(plant: RunningPlant, receiver: Receiver) -> None:
    whole = made(plant, receiver)
    own = plant.rows("plants")[0]["plant"]
    with plant.database.writing() as connection:
        key = make_key(connection, "of one plant", [Scope.ADMINISTER], now=NOW, plants=[own])
    headers = {"Authorization": f"Bearer {key}"}
    refused = plant.client.post(
        "/v1/webhooks", json={"target": receiver.url, "plants": ["ELSEWHERE"]}, headers=headers
    )
    assert refused.status_code == 403
    answer = plant.client.post("/v1/webhooks", json={"target": receiver.url}, headers=headers).json()
    assert answer["plants"] == [own]
    seen = plant.client.get("/v1/webhooks", headers=headers).json()["items"]
    assert [each["id"] for each in seen] == [answer["id"]]
    hidden = plant.client.get(f"/v1/webhooks/{whole}", headers=headers)
    missing = plant.client.get("/v1/webhooks/999", headers=headers)
    assert hidden.status_code == missing.status_code == 404
    assert hidden.json()["detail"].replace(str(whole), "999") == missing.json()["detail"]
    plant.post("/v1/webhooks", {"target": receiver.url, "plants": ["NOWHERE"]}, expect=422)


def test_lists_of_webhooks_go_on_behind_the_one_that_was_last(plant: RunningPlant, receiver: Receiver) -> None:
    ids = [made(plant, receiver) for _ in range(3)]
    page = plant.get("/v1/webhooks", limit=2)
    assert [each["id"] for each in page["items"]] == ids[:2]
    plant.client.delete(f"/v1/webhooks/{ids[0]}")
    rest = plant.get("/v1/webhooks", limit=2, cursor=page["next"])
    assert ([each["id"] for each in rest["items"]], rest["next"]) == (ids[2:], None)
    assert plant.client.get("/v1/webhooks", params={"cursor": "x"}).status_code == 422


def test_a_target_that_nobody_listed_is_refused_with_what_to_do(plant: RunningPlant) -> None:
    listed(plant)
    refused = plant.post("/v1/webhooks", {"target": "https://erp.mill.example/"}, expect=422)
    assert "ELEMENTDUE_WEBHOOK_TARGETS" in refused["detail"]
    listed(plant, "erp.mill.example")
    refused = plant.post("/v1/webhooks", {"target": "https://169.254.169.254/"}, expect=422)
    assert [error["member"] for error in refused["errors"]] == ["target"]
