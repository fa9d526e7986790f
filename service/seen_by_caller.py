"""A thing named in an address, as the caller sees it: what is another plant's does not exist for it.

A route that takes `order_id: SeenOrder` instead of a bare number answers the same 404 for a foreign order as for one
that is nowhere. Lists and bodies give the caller to their query, which narrows it by `Caller.only`.
"""

from typing import Annotated, Any

import sqlalchemy as sa
from fastapi import Depends

from api_schemas.quantities import RowNumber
from service.close_outs.tables import close_outs
from service.database import Database
from service.dependencies import AnyCaller, OpenDatabase
from service.diagnoses.tables import diagnoses
from service.evidence.tables import evidence_files
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.problems import NotFound
from service.work_orders.tables import work_orders


def _see(database: Database, caller: Caller, of_caller: sa.Select[Any], called: str) -> None:
    if caller.plants is None:
        return  # the route itself looks it up
    with database.reading() as connection:
        if connection.execute(of_caller).first() is None:
            raise NotFound(f"there is no {called}")


def _position(caller: AnyCaller, database: OpenDatabase, position: str) -> str:
    places = t.positions
    found = sa.select(places.c.position).where(places.c.position == position, caller.only_systems(places.c.system))
    _see(database, caller, found, f"position '{position}'")
    return position


def _order(caller: AnyCaller, database: OpenDatabase, order_id: RowNumber) -> int:
    found = sa.select(work_orders.c.id).where(work_orders.c.id == order_id, caller.only(work_orders.c.plant))
    _see(database, caller, found, f"work order {order_id}")
    return order_id


def _close_out(caller: AnyCaller, database: OpenDatabase, close_out_id: RowNumber) -> int:
    found = sa.select(close_outs.c.id).where(
        close_outs.c.id == close_out_id, caller.only_systems(close_outs.c.system)
    )
    _see(database, caller, found, f"close-out {close_out_id}")
    return close_out_id


def _file(caller: AnyCaller, database: OpenDatabase, file_id: RowNumber) -> int:
    files = evidence_files
    found = sa.select(files.c.id).join(close_outs, close_outs.c.id == files.c.close_out)
    found = found.where(files.c.id == file_id, caller.only_systems(close_outs.c.system))
    _see(database, caller, found, f"file {file_id}")
    return file_id


def _diagnosis(caller: AnyCaller, database: OpenDatabase, diagnosis_id: RowNumber) -> int:
    found = sa.select(diagnoses.c.id).where(diagnoses.c.id == diagnosis_id, caller.only_systems(diagnoses.c.system))
    _see(database, caller, found, f"diagnosis {diagnosis_id}")
    return diagnosis_id


SeenPosition = Annotated[str, Depends(_position)]
SeenOrder = Annotated[int, Depends(_order)]
SeenCloseOut = Annotated[int, Depends(_close_out)]
SeenFile = Annotated[int, Depends(_file)]
SeenDiagnosis = Annotated[int, Depends(_diagnosis)]
