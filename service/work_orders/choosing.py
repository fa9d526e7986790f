"""Which work orders a list is of: the same question for pages and for files."""

from dataclasses import dataclass
from typing import Annotated, Any

import sqlalchemy as sa
from fastapi import Depends, Query

from scheduler.vocabulary import WorkOrderState
from service.dependencies import OnlyPlant
from service.keys.keeping import Caller
from service.work_orders.planning import OPEN_STATES
from service.work_orders.tables import tasks, work_orders


@dataclass(frozen=True, slots=True)
class Chosen:
    """What was asked for; None where it does not matter."""

    plant: OnlyPlant
    state: Annotated[
        list[WorkOrderState] | None, Query(description="Only these states; by default the open ones.")
    ] = None
    system: Annotated[str | None, Query(max_length=200, description="Only this system's.")] = None
    position: Annotated[str | None, Query(max_length=200, description="Only orders with a task there.")] = None

    def query(self, caller: Caller) -> sa.Select[Any]:
        """The orders of these that the caller sees, by planned day."""
        query = sa.select(work_orders).where(
            work_orders.c.state.in_(self.state or OPEN_STATES), caller.only(work_orders.c.plant)
        )
        if self.plant is not None:
            query = query.where(work_orders.c.plant == self.plant)
        if self.system is not None:
            query = query.where(work_orders.c.system == self.system)
        if self.position is not None:
            query = query.where(_has_task_at(self.position))
        return query.order_by(work_orders.c.planned_for, work_orders.c.id)


ChosenOrders = Annotated[Chosen, Depends()]


def _has_task_at(position: str) -> sa.ColumnElement[bool]:
    """What was withdrawn from an order is not shown; an order that was withdrawn is found by what it was for."""
    shown = (tasks.c.state != "withdrawn") | (work_orders.c.state == WorkOrderState.WITHDRAWN)
    return sa.exists().where(tasks.c.work_order == work_orders.c.id, tasks.c.position == position, shown)
