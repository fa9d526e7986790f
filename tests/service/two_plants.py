"""Two plants in one database, each with one of everything that belongs to a plant, and what names it.

A new route is found by the route table. What its address, query or body calls by a name that is not in `things` has
to be added there, once: as it is called, and which one each plant has. Add what is nowhere to `NOWHERE`.
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import sqlalchemy as sa

from scheduler.vocabulary import Scope
from service import dependencies
from service.app import create_app
from service.database import Database
from service.imports.importing import import_folder
from service.keys.keeping import make_key
from service.schema import metadata
from service.settings import Settings
from tests.service import evidence_files
from tests.service.route_table import IN_A_PATH
from tests.service.served import Served, opened

OURS, THEIRS = "BKR", "QRY"
"""Every code of a plant begins with its own: none of theirs may stand in what a key of ours is told."""

NOWHERE = IN_A_PATH | {
    "plant": "NOWHERE",
    "system": "NOWHERE",
    "task": "999",
    "work_order": "999",
    "close_out": "999",
}
"""For each name something that neither plant has."""

ELEMENT, FLUID, LOT, STORE, ON_HAND = "E-10", "HM46", "L-7", "MAIN", 5
FITTED = datetime(2025, 1, 10, 8, tzinfo=UTC)
LAST_READING = datetime(2025, 3, 1, 8, tzinfo=UTC)
SAFE_NAME = "photo.png"
TARGET = "erp.mill.example"

Rows = dict[str, list[dict[str, Any]]]


def _tables() -> dict[str, str]:
    both = (OURS, THEIRS)
    places = [(f"{plant}-R{number}", f"{plant}-LINE") for plant in both for number in (1, 2, 3)]
    empty = [(f"{plant}-R4", f"{plant}-LINE") for plant in both]  # which a diagnosis stands for
    fitted, read = FITTED.isoformat(), LAST_READING.isoformat()
    return {
        "plants": "plant,time_zone,currency\n" + "".join(f"{plant}-PLANT,Europe/Oslo,NOK\n" for plant in both),
        "fluids": "fluid,grade\nHM46,46\n",
        "systems": "system,plant,fluid,reservoir_volume [L],hours_per_week\n"
        + "".join(f"{plant}-LINE,{plant}-PLANT,HM46,400,110\n" for plant in both),
        "element_types": f"part_number,kind\n{ELEMENT},element\n",
        "positions": "position,system,place,part_number,max_hours [h]\n"
        + "".join(f"{place},{system},return,{ELEMENT},1000\n" for place, system in places + empty),
        "installations": "position,fitted_at,part_number,fitted_hours [h]\n"
        + "".join(f"{place},{fitted},{ELEMENT},0\n" for place, _ in places),
        "meter_readings": "system,at,hours [h]\n"
        + "".join(f"{plant}-LINE,{fitted},0\n{plant}-LINE,{read},900\n" for plant in both),
        "stock": f"part_number,store,lot,on_hand,counted_at\n{ELEMENT},{STORE},{LOT},{ON_HAND},{fitted}\n",
    }


@dataclass
class TwoPlants:
    """The service over both; `things` of a plant by the names that addresses, queries and bodies use."""

    service: Served
    things: dict[str, dict[str, str]]
    office: httpx.Client
    """Of all plants."""
    ours: httpx.Client
    """Of one alone; each may everything but override."""

    @property
    def theirs(self) -> dict[str, str]:
        return self.things[THEIRS]

    def key(self, *scopes: Scope, name: str, plants: tuple[str, ...] | None = (f"{OURS}-PLANT",)) -> str:
        with self.service.database.writing() as connection:
            return make_key(connection, name, scopes, now=datetime.now(UTC), plants=plants)

    def everything_kept(self) -> Rows:
        """Every row of every table, but when keys were used last."""
        kept: Rows = {}
        with self.service.database.reading() as connection:
            for name, table in metadata.tables.items():
                columns = [column for column in table.c if column.name != "last_used_at"]
                query = sa.select(*columns).order_by(*table.primary_key)
                kept[name] = [dict(row) for row in connection.execute(query).mappings()]
        return kept


@contextmanager
def two_plants(folder: Path) -> Iterator[TwoPlants]:
    """Imported, planned and worked at, and the clock stands still."""
    with opened(folder / "plant.sqlite") as database:
        _take_in(database, folder / "told")
        settings = Settings(requests_per_minute=0, webhook_targets=(TARGET,))
        service = Served(database, create_app(database, settings, ticks=False))
        now = datetime.now(UTC)
        service.app.dependency_overrides[dependencies._now] = lambda: now
        office = service.client(service.key(Scope.ADMINISTER, name="office"))
        both = TwoPlants(service, {}, office, office)
        both.ours = service.client(both.key(Scope.ADMINISTER, name="ours"))
        _did(office.post("/v1/passes"))
        for plant in (OURS, THEIRS):
            both.key(Scope.READ, name=f"{plant}-KEEPER", plants=(f"{plant}-PLANT",))
            both.things[plant] = _work_at(office, plant)
        _did(office.post("/v1/passes"))
        yield both


def _take_in(database: Database, at: Path) -> None:
    at.mkdir(parents=True)
    for name, text in _tables().items():
        (at / f"{name}.csv").write_text(text, encoding="utf-8")
    import_folder(database, at, name="told", now=datetime.now(UTC), by="test")


def _work_at(office: httpx.Client, plant: str) -> dict[str, str]:
    """One element is changed and shown on a photo, what another position needs is checked; the things by name."""
    done, open_ = f"{plant}-R1", f"{plant}-R2"
    told = {"position": done, "at": LAST_READING.isoformat(), "note": f"{plant}-NOTE", "element": {"lot": LOT}}
    closed = _did(office.post("/v1/close-outs", json=told))
    files = {"file": (SAFE_NAME, evidence_files.png())}
    file = _did(office.post(f"/v1/close-outs/{closed['id']}/files", files=files))
    _did(office.post("/v1/checks", json={"position": open_, "part_number": ELEMENT}))
    (order,) = _did(office.get("/v1/work-orders", params={"position": open_}))["items"]
    _did(office.post(f"/v1/work-orders/{order['id']}/issue"))
    (task,) = [task for task in order["tasks"] if task["position"] == open_]
    hook = _did(office.post("/v1/webhooks", json={"target": f"https://{TARGET}/", "plants": [f"{plant}-PLANT"]}))
    past = {"from": FITTED.isoformat(), "to": LAST_READING.isoformat(), "step_days": 20, "plant": f"{plant}-PLANT"}
    replay = _did(office.post("/v1/replays", json=past))
    while _did(office.get(f"/v1/replays/{replay['id']}"))["state"] != "done":
        time.sleep(0.01)
    (diagnosis, *_) = _did(office.get("/v1/diagnoses", params={"plant": f"{plant}-PLANT"}))["items"]
    order_id, close_out_id = str(order["id"]), str(closed["id"])
    return {
        "plant": f"{plant}-PLANT",
        "system": f"{plant}-LINE",
        "position": open_,
        "task": str(task["id"]),
        "order_id": order_id,
        "work_order": order_id,
        "close_out_id": close_out_id,
        "close_out": close_out_id,
        "file_id": str(file["id"]),
        "diagnosis_id": str(diagnosis["id"]),
        "import_id": "1",
        "key_name": f"{plant}-KEEPER",
        "webhook_id": str(hook["id"]),
        "replay_id": str(replay["id"]),
    }


def _did(answer: httpx.Response) -> Any:
    assert answer.is_success, answer.text
    return answer.json()
