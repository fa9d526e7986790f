"""The service over a database file of its own, asked as its users ask it, at a moment that the test decides."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import sqlalchemy as sa
from fastapi import FastAPI
from starlette.testclient import TestClient

from scheduler.vocabulary import Scope
from service import dependencies
from service.app import create_app
from service.database import Database
from service.keys.keeping import make_key
from service.migrating import migrate
from service.schema import metadata
from service.settings import Settings
from tests.databases import copy_database, url_at
from tests.flow.small_folder import NOW, SmallPlant, small_plant

Rows = list[dict[str, Any]]

_EVERYTHING = [scope for scope in Scope if scope is not Scope.OVERRIDE]
_KEPT_APART = frozenset({"api_keys", "alembic_version"})


@dataclass
class RunningPlant:
    """The application with an administrator's client; `now` is what its clock shows."""

    path: Path
    database: Database
    app: FastAPI
    client: TestClient
    now: datetime = NOW

    @property
    def url(self) -> str:
        return url_at(self.path)

    def later(self, **by: float) -> datetime:
        """Turn the clock on."""
        self.now += timedelta(**by)
        return self.now

    def client_with(self, *scopes: Scope, name: str) -> TestClient:
        with self.database.writing() as connection:
            key = make_key(connection, name, scopes, now=self.now)
        return _client(self.app, key)

    # what is asked

    def get(self, path: str, **query: Any) -> Any:
        answer = self.client.get(path, params=query)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def post(self, path: str, body: Any = None, expect: int = 200, **headers: str) -> Any:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        answer = self.client.post(path, json=body, headers=named)
        assert answer.status_code == expect, answer.text
        return answer.json()

    def take_in(self, plant: SmallPlant) -> Any:
        answer = self.client.post("/v1/imports", files={"file": ("plant.zip", plant.zipped(), "application/zip")})
        assert answer.status_code == 201, answer.text
        return answer.json()

    def run_pass(self) -> Any:
        return self.post("/v1/passes", expect=201)

    def due(self, position: str) -> Any:
        return self.get(f"/v1/due/{position}")

    def orders(self, **query: Any) -> Rows:
        found: Rows = self.get("/v1/work-orders", **query)["items"]
        return found

    def order_of(self, position: str, kind: str | None = None) -> dict[str, Any]:
        """The one open order with an open task of that kind at the position."""
        found = [
            order
            for order in self.orders()
            for task in order["tasks"]
            if task["position"] == position and task["state"] == "open" and kind in (None, task["kind"])
        ]
        assert len(found) == 1, f"{len(found)} open orders at {position}"
        return found[0]

    def task_of(self, position: str, kind: str | None = None) -> dict[str, Any]:
        (task,) = [
            task
            for task in self.order_of(position, kind)["tasks"]
            if task["position"] == position and task["state"] == "open" and kind in (None, task["kind"])
        ]
        return dict(task)

    def close(self, expect: int = 201, key: str | None = None, **body: Any) -> Any:
        headers = {} if key is None else {"Idempotency_Key": key}
        return self.post("/v1/close-outs", {"at": iso(self.now)} | body, expect=expect, **headers)

    # what is kept

    def rows(self, table: str, **where: Any) -> Rows:
        chosen = metadata.tables[table]
        query = sa.select(chosen).filter_by(**where).order_by(*chosen.primary_key)
        with self.database.reading() as connection:
            return [dict(row) for row in connection.execute(query).mappings()]

    def holds_now(self, table: str, **where: Any) -> Rows:
        return self.rows(table, superseded_at=None, **where)

    def dump(self, *tables: str) -> dict[str, Rows]:
        """Every row of the named tables, else of all but the keys' (their last use is written)."""
        names = tables or tuple(name for name in metadata.tables if name not in _KEPT_APART)
        return {name: self.rows(name) for name in names}

    def on_hand(self, part_number: str) -> int:
        """What the books say: the counts and what has moved."""
        counted = sum(row["on_hand"] for row in self.holds_now("stock", part_number=part_number))
        return int(counted + sum(row["quantity"] for row in self.rows("stock_movements", part_number=part_number)))


def add_plant(connection: sa.Connection, plant: str) -> None:
    """One with nothing in it, for keys that see none of the others."""
    values = {"plant": plant, "time_zone": "Europe/Oslo", "currency": "EUR"}
    connection.execute(sa.insert(metadata.tables["plants"]).values(**values))


def iso(at: datetime) -> str:
    return at.isoformat()


def bar(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "bar"}


def warm(dp_bar: float, **more: Any) -> dict[str, Any]:
    """A ΔP at the press's usual flow and oil temperature."""
    return {
        "dp": bar(dp_bar),
        "flow": {"value": 180, "unit": "L/min"},
        "oil_temperature": {"value": 50, "unit": "degC"},
        **more,
    }


def oil(fluid: str, litres: float, **more: Any) -> dict[str, Any]:
    return {"fluid": fluid, "volume": {"value": litres, "unit": "L"}, **more}


@contextmanager
def running(path: Path, now: datetime = NOW) -> Iterator[RunningPlant]:
    """The service over the migrated database in `path`; opening it again is a restart."""
    with closing(Database(url_at(path))) as database:
        app = create_app(database, Settings(requests_per_minute=0), ticks=False)
        with database.writing() as connection:
            count = connection.scalar(sa.select(sa.func.count()).select_from(metadata.tables["api_keys"]))
            key = make_key(connection, f"tester {count}", _EVERYTHING, now=now)
        plant = RunningPlant(path, database, app, _client(app, key), now)
        app.dependency_overrides[dependencies._now] = lambda: plant.now
        yield plant


def _client(app: FastAPI, key: str) -> TestClient:
    client = TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False)
    client.headers = httpx.Headers({"Authorization": f"Bearer {key}"})
    return client


def make_empty(path: Path) -> Path:
    with closing(Database(url_at(path))) as database:
        migrate(database)
    return path


def make_planned(path: Path, plant: SmallPlant | None = None) -> Path:
    """A database with the small plant taken in and one pass run."""
    make_empty(path)
    with running(path) as service:
        service.take_in(plant or small_plant())
        service.run_pass()
    return path


def copied(source: Path, target: Path) -> Path:
    """A copy of a closed database."""
    copy_database(source, target)
    return target
