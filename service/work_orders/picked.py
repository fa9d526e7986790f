"""The kits of tasks as their rows stand: parts and oil, planned or reserved."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import sqlalchemy as sa

from service.plant_folder import tables as t
from service.work_orders.tables import oil_picks, picks


@dataclass(frozen=True, slots=True)
class Kit:
    """Rows of `picks`, and of `oil_picks` with the fluid's name."""

    parts: list[sa.RowMapping] = field(default_factory=list)
    oil: list[sa.RowMapping] = field(default_factory=list)


def kits_of(connection: sa.Connection, task_ids: Sequence[int]) -> dict[int, Kit]:
    """The kit of each of these tasks, an empty one where nothing is needed."""
    found = {task: Kit() for task in task_ids}
    parts = sa.select(picks).where(picks.c.task.in_(task_ids)).order_by(picks.c.id)
    for row in connection.execute(parts).mappings():
        found[row["task"]].parts.append(row)
    oil = (
        sa.select(oil_picks, t.fluids.c.name)
        .join(t.fluids, t.fluids.c.fluid == oil_picks.c.fluid)
        .where(oil_picks.c.task.in_(task_ids))
        .order_by(oil_picks.c.id)
    )
    for row in connection.execute(oil).mappings():
        found[row["task"]].oil.append(row)
    return found
