"""What is worth knowing of a job as it was told, though nothing of it is refused."""

import json
from collections.abc import Iterator

import sqlalchemy as sa

from api_schemas.close_outs import CloseOutIn, LevelSeen
from scheduler.engineering.oil_level import level_check
from service.database import current_rows
from service.plant_folder import tables as t
from service.plant_folder.facts import told_by


def remarks_on(connection: sa.Connection, row: sa.RowMapping) -> list[str]:
    """One sentence each, of the close-out in `row`; none where it never happened."""
    if row["undone_at"] is not None:
        return []
    told = CloseOutIn.model_validate_json(json.dumps(row["told"]))
    found = list(_on_level(told.level)) if told.level is not None else []
    return [*found, *_on_cleanings(connection, row)]


def _on_level(seen: LevelSeen) -> Iterator[str]:
    looked = level_check(at_rest=seen.at_rest, defined_position=seen.defined_position, reservoir_volume_L=1.0)
    if not looked.valid:
        yield f"The level is kept but does not count: {looked.why_not}. Look again."


def _on_cleanings(connection: sa.Connection, row: sa.RowMapping) -> Iterator[str]:
    """Of a strainer that went back in more often than its maker allows."""
    stays, types = t.installations, t.element_types
    query = (
        sa.select(stays.c.cleanings, types.c.max_cleanings)
        .join(types, types.c.part_number == stays.c.part_number)
        .where(current_rows(stays), stays.c.position == row["position"], told_by(stays, f"close-out {row['id']}"))
        .where(stays.c.fitted_at == row["at"], stays.c.cleanings > types.c.max_cleanings)
    )
    for cleanings, most in connection.execute(query):
        yield f"This was cleaning {cleanings}; the maker allows {most}: fit a new strainer at the next service."
