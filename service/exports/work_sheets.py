"""Work orders as two sheets: a line for each task, and a line for each thing that is fetched or short."""

from collections.abc import Iterator, Sequence

from api_schemas.work_orders import Task, WorkOrder
from service.exports.sheet import Column, Row, Sheet, moments, numbers, texts
from service.exports.units import VolumeUnit
from service.work_orders.kit_words import lines_of, shelf_of, short_lines

_TASK_COLUMNS = (
    *numbers("work_order"),
    *texts("plant", "system", "state"),
    *moments("planned_for", "stop_starts_at", "stop_ends_at"),
    *numbers("task"),
    *texts("position", "kind", "task_state"),
    *moments("due_at"),
    *texts("trigger", "reason", "parts", "shortage", "issued_by", "started_by", "note", "external_ref"),
)


def work_sheets(orders: Sequence[WorkOrder], volumes: VolumeUnit) -> list[Sheet]:
    """Tasks first, then what they take."""
    return [
        Sheet("work-orders", _TASK_COLUMNS, [_task_row(order, task, volumes) for order, task in _tasks(orders)]),
        Sheet(
            "picks", _pick_columns(volumes), [row for each in _tasks(orders) for row in _pick_rows(*each, volumes)]
        ),
    ]


def _tasks(orders: Sequence[WorkOrder]) -> Iterator[tuple[WorkOrder, Task]]:
    return ((order, task) for order in orders for task in order.tasks)


def _task_row(order: WorkOrder, task: Task, volumes: VolumeUnit) -> Row:
    return (
        *(order.id, order.plant, order.system, order.state),
        *(order.planned_for, order.stop_starts_at, order.stop_ends_at),
        *(task.id, task.position, task.kind, task.state, task.due_at, task.trigger, task.reason),
        "; ".join(
            f"{line} from {shelf_of(pick)}" for line, pick in lines_of(task, volumes) if pick.store is not None
        ),
        "; ".join(short_lines(task, volumes)),
        *(order.issued_by, order.started_by, order.note, order.external_ref),
    )


def _pick_columns(volumes: VolumeUnit) -> tuple[Column, ...]:
    return (
        *numbers("work_order", "task"),
        *texts("position", "item", "instead_of"),
        *numbers("quantity [pieces]", f"volume [{volumes.symbol}]", f"container [{volumes.symbol}]"),
        *texts("store", "bin", "lot"),
        *moments("arrives_at"),
        *texts("arrives_with"),
        *moments("reserved_at"),
        *texts("reserved_by"),
    )


def _pick_rows(order: WorkOrder, task: Task, volumes: VolumeUnit) -> Iterator[Row]:
    for pick in task.picks:
        yield (
            *(order.id, task.id, task.position, pick.part_number, pick.instead_of, pick.quantity, None, None),
            *(pick.store, pick.bin, pick.lot, pick.arrives_at, pick.arrives_with),
            *(pick.reserved_at, pick.reserved_by),
        )
    for oil in task.oil:
        container = None if oil.container is None else volumes.shown(oil.container.value)
        yield (
            *(order.id, task.id, task.position, oil.fluid, None, None, volumes.shown(oil.volume.value), container),
            *(oil.store, None, oil.lot, oil.arrives_at, oil.arrives_with),
            *(oil.reserved_at, oil.reserved_by),
        )
