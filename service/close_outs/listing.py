"""Close-outs as they were recorded, for whoever reads them back: by number, so that no page loses or doubles one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from api_schemas.close_outs import CloseOutList, CloseOutTold, Correction, Mismatch
from service.close_outs.recording import corrections_of
from service.close_outs.tables import close_out_corrections, close_outs
from service.cursors import read_cursor, write_cursor
from service.keys.keeping import Caller
from service.plant_folder import tables as t


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which close-outs; None where it does not matter.

    `recorded_after` asks for those recorded, corrected or taken back then or later: writers that waited for each
    other may have the same moment, and who has seen one of them must be given the other.
    """

    plant: str | None = None
    system: str | None = None
    position: str | None = None
    work_order: int | None = None
    external_ref: str | None = None
    recorded_after: datetime | None = None


def list_of(
    connection: sa.Connection, wanted: Wanted, caller: Caller, *, limit: int, cursor: str | None
) -> CloseOutList:
    """A page of those that the caller sees. Raises BadInput for a cursor that no page gave."""
    query = (
        sa.select(close_outs, t.systems.c.plant)
        .join(t.systems, t.systems.c.system == close_outs.c.system)
        .where(caller.only(t.systems.c.plant), *_conditions(wanted))
        .order_by(close_outs.c.id)
        .limit(limit + 1)
    )
    if cursor is not None:
        query = query.where(close_outs.c.id > read_cursor(cursor, "close-outs", int)[0])
    rows = connection.execute(query).mappings().all()
    page = rows[:limit]
    corrections = corrections_of(connection, [row["id"] for row in page])
    return CloseOutList(
        items=[_told(row, corrections.get(row["id"], [])) for row in page],
        next=write_cursor("close-outs", page[-1]["id"]) if len(rows) > limit else None,
    )


def _conditions(wanted: Wanted) -> list[sa.ColumnElement[bool]]:
    told = close_outs.c
    columns = {
        t.systems.c.plant: wanted.plant,
        told.system: wanted.system,
        told.position: wanted.position,
        told.work_order: wanted.work_order,
        told.external_ref: wanted.external_ref,
    }
    conditions = [column == value for column, value in columns.items() if value is not None]
    if wanted.recorded_after is not None:
        corrected = sa.exists().where(
            close_out_corrections.c.close_out == told.id,
            close_out_corrections.c.recorded_at >= wanted.recorded_after,
        )
        conditions.append(sa.or_(told.recorded_at >= wanted.recorded_after, corrected))
    return conditions


def _told(row: sa.RowMapping, corrections: Sequence[Correction]) -> CloseOutTold:
    mismatches = [] if row["undone_at"] else [Mismatch.model_validate(each) for each in row["mismatches"]]
    plain = {name: row[name] for name in CloseOutTold.model_fields if name in row}
    return CloseOutTold.model_validate(plain | {"mismatches": mismatches, "corrections": list(corrections)})
