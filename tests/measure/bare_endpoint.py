"""A bare FastAPI and SQLAlchemy endpoint beside ours: the same rows, the same models, and nothing else.

No key, no scope, no plants, no strict reading of JSON, no units but ours, no `Idempotency-Key`, no comparison with
what is recorded, no feed, no words: what is left is what anybody's endpoint costs.
`python -m tests.measure.bare_endpoint URL PORT` serves it.
"""

import sys
from datetime import UTC, datetime
from typing import Annotated

import sqlalchemy as sa
import uvicorn
from fastapi import APIRouter, Depends, FastAPI, Query, Request
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool

from api_schemas.due import DiagnosisNote, DueItem, DueList, PassNote, Pressure
from service.database import Database
from service.due.tables import due_items, passes
from service.plant_folder import layout
from service.plant_folder import tables as t
from service.plant_folder.known_now import known_now
from service.plant_folder.refusals import RowFindings
from service.plant_folder.register import Register
from service.plant_folder.row_by_row import RowByRow
from service.readings.bodies import Body, opened

routes = APIRouter()


def _database(request: Request) -> Database:
    found: Database = request.app.state.database
    return found


OpenDatabase = Annotated[Database, Depends(_database)]


@routes.get("/due")
def list_due(database: OpenDatabase, limit: Annotated[int, Query(ge=1, le=1000)] = 1000) -> DueList:
    with database.reading() as connection:
        header = connection.execute(sa.select(passes).order_by(passes.c.id.desc()).limit(1)).mappings().one()
        query = (
            sa.select(due_items)
            .where(due_items.c.pass_id == header["id"])
            .order_by(due_items.c.due_at.is_(None), due_items.c.due_at, due_items.c.position)
            .limit(limit)
        )
        rows = connection.execute(query).mappings().all()
        return DueList(
            planned=PassNote(id=header["id"], as_of=header["as_of"], cause=header["cause"]),
            items=[_item(row) for row in rows],
            next=None,
        )


_AS_THEY_ARE = (
    *("position", "system", "plant", "part_number", "as_of", "due_at", "due_early", "due_median", "due_late"),
    *("hours_left", "overdue_hours", "trigger", "runner_up", "without_trigger_at"),
)


def _item(row: sa.RowMapping) -> DueItem:
    pressure = None
    if row["has_pressure"]:
        pressure = Pressure(**{f"hours_left_{p}": row[f"pressure_hours_left_{p}"] for p in (10, 50, 90)})
    return DueItem(
        **{name: row[name] for name in _AS_THEY_ARE},
        reason=row["because"]["code"],
        pressure=pressure,
        diagnoses=[DiagnosisNote(code=each["code"], severity=each["severity"], says="") for each in row["diagnoses"]],
    )


class Reading(BaseModel):
    """A row of the bulk body, in canonical units, with bounds as anybody would write them."""

    model_config = ConfigDict(extra="forbid")

    position: Annotated[str, Field(min_length=1, max_length=200)]
    at: AwareDatetime
    dp: Annotated[float, Field(ge=0, le=1000)]
    flow: Annotated[float, Field(ge=0, le=100_000)]
    oil_temperature: Annotated[float, Field(ge=-60, le=200)]


class Readings(BaseModel):
    model_config = ConfigDict(extra="forbid")

    units: dict[str, str]
    rows: Annotated[list[Reading], Field(max_length=50_000)]


@routes.post("/dp-readings")
def add_dp_readings(database: OpenDatabase, body: Readings) -> dict[str, int]:
    now = datetime.now(UTC)
    rows = [
        {
            "position": row.position,
            "at": row.at,
            "at_is_date": False,
            "stage": "",
            "dp_bar": row.dp,
            "flow_lpm": row.flow,
            "oil_temperature_degC": row.oil_temperature,
            "recorded_at": now,
            "source": "bare",
        }
        for row in body.rows
    ]
    with database.engine.execution_options(writes=True).begin() as connection:  # no feed
        connection.execute(sa.insert(t.TABLE["dp_readings"]), rows)
    return {"new": len(rows)}


@routes.post("/dp-readings-as-ours")
async def add_dp_readings_as_ours(request: Request) -> dict[str, int]:
    """The same body, read and checked by the rules that ours is read and checked by, and written."""
    return await run_in_threadpool(_add_as_ours, request.app.state.database, await request.body())


def _add_as_ours(database: Database, content: bytes) -> dict[str, int]:
    now, findings, table = datetime.now(UTC), RowFindings(), layout.DP_READINGS
    with database.engine.execution_options(writes=True).begin() as connection:  # no feed
        register = Register(known_now(connection), reads_files=False)
        with opened(Body("application/json", content), table, findings) as told:
            reading = RowByRow(table, told.header, register, findings, now, told.separator)
            rows = [
                {"stage": "", **row.values, "recorded_at": now, "source": "bare"}
                for block in reading.blocks(told.blocks())
                for row in block
            ]
        connection.execute(sa.insert(t.TABLE["dp_readings"]), rows)
    return {"new": len(rows)}


if __name__ == "__main__":
    app = FastAPI()
    app.state.database = Database(sys.argv[1])
    app.include_router(routes)
    uvicorn.run(app, port=int(sys.argv[2]), log_level="warning")
