"""Dirty oil in the demo plant: one bad sample asks for another, a missed target blames an element only with proof."""

import io
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from scheduler.vocabulary import Scope
from service import dependencies
from service.app import create_app
from service.database import Database
from service.demo import cases
from service.demo.loading import load_demo
from service.keys.keeping import make_key
from service.migrating import migrate
from service.settings import Settings
from tests.databases import url_at

pytestmark = pytest.mark.one_database_is_enough

NOW = datetime(2026, 5, 6, 9, 30, tzinfo=UTC)


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    database = Database(url_at(tmp_path / "demo.sqlite"))
    migrate(database)
    load_demo(database, NOW, "test")
    with database.writing() as connection:
        secret = make_key(connection, "tester", [Scope.ADMINISTER], now=NOW)
    app = create_app(database, Settings(), ticks=False)
    app.dependency_overrides[dependencies._now] = lambda: NOW
    headers = {"Authorization": f"Bearer {secret}"}
    with TestClient(app, base_url="http://127.0.0.1", headers=headers) as asking:
        assert asking.post("/v1/passes").status_code == 201
        yield asking
    database.close()


def notes(client: TestClient, position: str) -> dict[str, Any]:
    return {note["code"]: note for note in client.get(f"/v1/due/{position}").json()["diagnoses"]}


def test_an_element_that_holds_back_nothing_is_due_for_the_oils_sake(client: TestClient) -> None:
    item = client.get(f"/v1/due/{cases.CLEANLINESS_MISSED}").json()
    assert item["trigger"] == "cleanliness"
    assert datetime.fromisoformat(item["due_at"]) == NOW
    assert "β about" in item["reason"]
    assert "dirtier than the target" in notes(client, cases.CLEANLINESS_MISSED)["cleanliness-missed"]["says"]


def test_no_other_element_of_the_plant_is_blamed_for_dirty_oil(client: TestClient) -> None:
    items = client.get("/v1/due").json()["items"]
    assert [item["position"] for item in items if item["trigger"] == "cleanliness"] == [cases.CLEANLINESS_MISSED]


def bad_sample(system: str, day: datetime) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("oil_samples.csv", f"system,at,code\n{system},{day.isoformat()},23/21/18\n")
    return packed.getvalue()


def test_one_bad_sample_asks_for_another_and_the_task_can_be_closed(client: TestClient) -> None:
    packed = bad_sample("SAW1", NOW - timedelta(hours=5))
    assert client.post("/v1/imports", files={"file": ("sample.zip", packed)}).status_code == 201
    assert client.post("/v1/passes").status_code == 201
    orders = client.get("/v1/work-orders", params={"system": "SAW1"}).json()["items"]
    [task] = [task for order in orders for task in order["tasks"] if task["kind"] == "take_sample"]
    assert "proves nothing" in task["reason"]
    closed = client.post("/v1/close-outs", json={"task": task["id"], "at": NOW.isoformat(), "note": "sent"})
    assert closed.status_code == 201, closed.text
    assert client.post("/v1/passes").status_code == 201
    left = client.get("/v1/work-orders", params={"system": "SAW1"}).json()["items"]
    assert not [task for order in left for task in order["tasks"] if task["kind"] == "take_sample"]
