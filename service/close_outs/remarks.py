"""What is worth knowing of a job as it was told, though nothing of it is refused."""

import json
from collections.abc import Iterator

import sqlalchemy as sa

from api_schemas.close_outs import CloseOutIn, LevelSeen
from scheduler.engineering.new_element import Fit, judged
from scheduler.engineering.oil_level import level_check
from service.close_outs.effects import canonical
from service.database import current_rows
from service.plant_folder import tables as t
from service.plant_folder.facts import told_by
from service.work_orders.job_facts import job_facts
from service.work_orders.picked import kits_of
from service.work_orders.tables import tasks

_NOT_LIKE_NEW = frozenset({Fit.TOO_LOW, Fit.TOO_HIGH})


def remarks_on(connection: sa.Connection, row: sa.RowMapping) -> list[str]:
    """One sentence each, of the close-out in `row`; none where it never happened."""
    if row["undone_at"] is not None:
        return []
    told = CloseOutIn.model_validate_json(json.dumps(row["told"]))
    found = list(_on_level(told.level)) if told.level is not None else []
    return [*found, *_on_new_element(connection, told, row), *_on_cleanings(connection, row)]


def _on_level(seen: LevelSeen) -> Iterator[str]:
    looked = level_check(at_rest=seen.at_rest, defined_position=seen.defined_position, reservoir_volume_L=1.0)
    if not looked.valid:
        yield f"The level is kept but does not count: {looked.why_not}. Look again."


def _on_new_element(connection: sa.Connection, told: CloseOutIn, row: sa.RowMapping) -> Iterator[str]:
    """Of a ΔP after the change that a new element should not show. Without its temperature nothing is judged."""
    reading = told.dp_after
    dp_bar = None if reading is None else canonical(reading.dp)
    temperature_degC = None if reading is None else canonical(reading.oil_temperature)
    if reading is None or dp_bar is None or temperature_degC is None:
        return
    task_rows = connection.execute(sa.select(tasks).where(tasks.c.id == row["task"])).mappings().all()
    kits = kits_of(connection, [row["task"]])
    facts = job_facts(connection, task_rows, kits, with_steps=True)[row["task"]]
    flow_lpm = canonical(reading.flow)
    verdict = judged(dp_bar, temperature_degC, flow_lpm or None, facts.expected_after, facts.job.flow_lpm or None)
    if verdict.fit in _NOT_LIKE_NEW:
        yield verdict.says


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
