"""Noticing what a write transaction touches, from its own statements: nobody has to say so, and nobody can forget.

Before an UPDATE or a DELETE on a watched table runs, the rows that its WHERE finds are noted, since afterwards it may
find others. Of an INSERT the highest number before it is noted: what lies above it at the end is new. Noted too much
is no harm, as only a picture that differs from the last one told is told.
"""

from collections import defaultdict
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from service.close_outs.tables import close_outs
from service.diagnoses.tables import diagnoses
from service.due.tables import due_moves, passes
from service.work_orders.history import order_history
from service.work_orders.tables import oil_picks, picks, tasks, work_orders

_NAMED_BY: dict[sa.FromClause, tuple[sa.Column[Any], ...]] = {
    work_orders: (work_orders.c.id,),
    tasks: (tasks.c.id, tasks.c.work_order),  # a task can go to another order: both have changed
    picks: (picks.c.task,),
    oil_picks: (oil_picks.c.task,),
    diagnoses: (diagnoses.c.id,),
    close_outs: (close_outs.c.id,),
}
"""Watched tables, and what of a row names whom it concerns."""

_ONLY_NEW: dict[sa.FromClause, sa.Column[Any]] = {
    passes: passes.c.recorded_at,
    order_history: order_history.c.at,
    due_moves: due_moves.c.position,
}
"""Tables of which only new rows say something."""

_AT_ONCE = 400


class Noticed:
    """What one write transaction touched."""

    def __init__(self, connection: sa.Connection) -> None:
        self._connection = connection
        self._rows: dict[sa.FromClause, set[tuple[Any, ...]]] = defaultdict(set)
        self._new_after: dict[sa.FromClause, int] = {}
        sa.event.listen(connection, "before_execute", self._see)

    @property
    def anything(self) -> bool:
        return bool(self._rows or self._new_after)

    @property
    def has_pass(self) -> bool:
        """Whether a due list was written."""
        return passes in self._new_after

    def orders(self) -> set[int]:
        """Every order of which a row, a task or a pick was touched."""
        touched = self._touched(tasks)
        found = {id_ for (id_,) in self._touched(work_orders)} | {order for _, order in touched}
        of_tasks = {task for task, _ in touched}
        of_tasks |= {task for table in (picks, oil_picks) for (task,) in self._touched(table)}
        return found | set(self._where_in(tasks.c.work_order, tasks.c.id, of_tasks))

    def diagnoses(self) -> set[int]:
        return {id_ for (id_,) in self._touched(diagnoses)}

    def close_outs(self) -> set[int]:
        return {id_ for (id_,) in self._touched(close_outs)}

    def moved(self) -> set[str]:
        """Positions of which a pass told a move."""
        return set(self._new(due_moves))

    def at(self) -> datetime | None:
        """The latest moment that a pass or a step of an order gave for itself; None where there was neither."""
        moments: list[datetime] = [*self._new(passes), *self._new(order_history)]
        return max(moments, default=None)

    def _see(self, _connection: sa.Connection, statement: Any, *_parameters: Any) -> None:
        if isinstance(statement, sa.Insert):
            if statement.table in _NAMED_BY or statement.table in _ONLY_NEW:
                newest = sa.select(sa.func.max(statement.table.c.id))
                before = self._connection.scalar(newest) or 0
                self._new_after[statement.table] = min(before, self._new_after.get(statement.table, before))
        elif isinstance(statement, sa.Update | sa.Delete) and statement.table in _NAMED_BY:
            found = sa.select(*_NAMED_BY[statement.table]).distinct()
            if statement.whereclause is not None:
                found = found.where(statement.whereclause)
            self._rows[statement.table].update(tuple(row) for row in self._connection.execute(found))

    def _touched(self, table: sa.Table) -> set[tuple[Any, ...]]:
        touched = set(self._rows.get(table, ()))
        if table in self._new_after:
            new = sa.select(*_NAMED_BY[table]).where(table.c.id > self._new_after[table]).distinct()
            touched.update(tuple(row) for row in self._connection.execute(new))
        return touched

    def _new(self, table: sa.Table) -> list[Any]:
        if table not in self._new_after:
            return []
        query = sa.select(_ONLY_NEW[table]).where(table.c.id > self._new_after[table])
        return list(self._connection.scalars(query))

    def _where_in(self, wanted: sa.Column[int], key: sa.Column[int], keys: set[int]) -> list[int]:
        ordered = sorted(keys)
        found: list[int] = []
        for begin in range(0, len(ordered), _AT_ONCE):
            query = sa.select(wanted).where(key.in_(ordered[begin : begin + _AT_ONCE])).distinct()
            found += self._connection.scalars(query)
        return found
