"""The work that due dates and diagnoses ask for, each piece with the stop that it would go into."""

import math
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType

from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.due import DueItem
from scheduler.planning.kits import RENEWAL_OF, Subject
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.stops import Stop, last_stop_before, stops_of_system
from scheduler.planning.work_orders import WantedTask, within_horizon
from scheduler.vocabulary import ElementKind, TaskKind

Look = tuple[str, str, TaskKind, str]
"""System, position, kind of work and the code of the diagnosis that asked for it."""


def wanted_work(
    columns: PlantColumns,
    items: Sequence[DueItem],
    diagnoses: Iterable[Diagnosis],
    open_work: frozenset[Subject],
    looked_day: Mapping[Look, float] = MappingProxyType({}),
) -> list[WantedTask]:
    """One task per due position within its plant's horizon, and one per subject that a diagnosis asks to look at.

    `looked_day` says of each diagnosis that stands when somebody looked: only newer evidence asks again.
    """
    stops = {system: stops_of_system(columns, system) for system in range(len(columns.systems.code))}
    changes = [_change(columns, item, stops, open_work) for item in items]
    looks: dict[Subject, WantedTask] = {}
    for diagnosis in diagnoses:
        if diagnosis.asks_for is not None:
            look = _look(columns, diagnosis, diagnosis.asks_for)
            if diagnosis.since_day >= looked_day.get((*look.subject, diagnosis.code), -math.inf):
                looks.setdefault(look.subject, look)
    return [change for change in changes if change is not None] + list(looks.values())


def task_kind_of(kind: ElementKind) -> TaskKind:
    """The work by which what sits in a position is renewed."""
    return RENEWAL_OF[kind]


def _change(
    columns: PlantColumns, item: DueItem, stops: dict[int, tuple[Stop, ...]], open_work: frozenset[Subject]
) -> WantedTask | None:
    if item.due_day is None or item.trigger is None:
        return None
    system = int(columns.positions.system[item.position])
    plant = int(columns.systems.plant[system])
    kind = task_kind_of(columns.types.kind[columns.positions.specified_type[item.position]])
    subject = (columns.systems.code[system], columns.positions.code[item.position], kind)
    horizon_d = float(columns.plants.horizon_d[plant])
    if not within_horizon(item.due_day, columns.as_of_day, horizon_d, is_open=subject in open_work):
        return None
    return WantedTask(
        plant=columns.plants.code[plant],
        system=subject[0],
        position=subject[1],
        kind=kind,
        due_day=item.due_day,
        trigger=item.trigger,
        because=item.because,
        stop=last_stop_before(stops[system], item.due_day, columns.positions.access[item.position]),
    )


def _look(columns: PlantColumns, diagnosis: Diagnosis, kind: TaskKind) -> WantedTask:
    return WantedTask(
        plant=columns.plants.code[int(columns.systems.plant[diagnosis.system])],
        system=columns.systems.code[diagnosis.system],
        position=columns.positions.code[diagnosis.position] if diagnosis.position >= 0 else "",
        kind=kind,
        due_day=columns.as_of_day,
        trigger=None,
        because={"code": diagnosis.code, "facts": diagnosis.numbers},
        stop=None,
    )
