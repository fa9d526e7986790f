"""Work orders as the wire shows them: with the reason of each task, its picks and the cautions of the job card."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from api_schemas.quantities import Volume
from api_schemas.work_orders import OilPick, Pick, Proposal, Task, WorkOrder
from scheduler.job_card.cautions import cautions
from scheduler.job_card.job import Job
from scheduler.vocabulary import Access, DisplayUnits, FluidFamily, Place, TaskKind, WorkOrderState
from service.due.wording import Wording
from service.plant_folder import tables as t
from service.plant_store.time import from_day
from service.problems import NotFound
from service.work_orders.tables import oil_picks, picks, tasks, work_orders


def work_order(connection: sa.Connection, id_: int) -> WorkOrder:
    """One order. Raises NotFound."""
    row = connection.execute(sa.select(work_orders).where(work_orders.c.id == id_)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"there is no work order {id_}")
    return work_order_cards(connection, [row])[0]


def work_order_cards(connection: sa.Connection, rows: Sequence[sa.RowMapping]) -> list[WorkOrder]:
    """The orders of `rows` with everything that belongs to them."""
    ids = [row["id"] for row in rows]
    task_rows = (
        connection.execute(sa.select(tasks).where(tasks.c.work_order.in_(ids)).order_by(tasks.c.id)).mappings().all()
    )
    kits = _kits(connection, [row["id"] for row in task_rows])
    plants = {row["plant"]: row for row in connection.execute(sa.select(t.plants)).mappings()}
    jobs = _jobs(connection, task_rows)
    return [
        _card(
            row,
            plants[row["plant"]],
            [each for each in task_rows if each["work_order"] == row["id"]],
            kits,
            jobs,
        )
        for row in rows
    ]


def cautions_of(connection: sa.Connection, task: int) -> list[str]:
    """The cautions of one task."""
    rows = connection.execute(sa.select(tasks).where(tasks.c.id == task)).mappings().all()
    return [str(caution) for caution in cautions(_jobs(connection, rows)[task])]


def _card(
    row: sa.RowMapping,
    plant: sa.RowMapping,
    own_tasks: Sequence[sa.RowMapping],
    kits: Mapping[int, "_Kit"],
    jobs: Mapping[int, Job],
) -> WorkOrder:
    zone = ZoneInfo(plant["time_zone"])
    wording = Wording(zone, DisplayUnits(plant["display_units"] or DisplayUnits.METRIC))
    # a withdrawn order shows what it was for: the job may have been done all the same
    is_withdrawn = row["state"] == WorkOrderState.WITHDRAWN
    kept = [each for each in own_tasks if is_withdrawn or each["state"] != "withdrawn"]
    shown = [_task(each, kits[each["id"]], wording) for each in kept]
    said = [str(caution) for each in kept if each["state"] == "open" for caution in cautions(jobs[each["id"]])]
    values = {name: row[name] for name in WorkOrder.model_fields if name in row}
    local = {name: value.astimezone(zone) if isinstance(value, datetime) else value for name, value in values.items()}
    return WorkOrder.model_validate(
        local
        | {
            "short": any(store is None for task in shown for store in _stores(task)),
            "tasks": shown,
            "cautions": _in_order(said),
        }
    )


def _in_order(said: Iterable[str]) -> list[str]:
    """Each caution once; what closes the card stays last."""
    once = list(dict.fromkeys(said))
    closing = [caution for caution in once if caution.startswith("This card")]
    return [caution for caution in once if caution not in closing] + closing


def _stores(task: Task) -> list[str | None]:
    return [pick.store for pick in task.picks] + [pick.store for pick in task.oil]


def _task(row: sa.RowMapping, kit: "_Kit", wording: Wording) -> Task:
    proposal = row["proposal"]
    return Task(
        id=row["id"],
        kind=row["kind"],
        position=row["position"],
        state=row["state"],
        due_at=row["due_at"].astimezone(wording.zone),
        trigger=row["trigger"],
        reason=wording.why_work(row["because"]),
        proposal=None
        if proposal is None
        else Proposal(
            change=proposal["change"],
            to=None if "planned_day" not in proposal else from_day(proposal["planned_day"]).astimezone(wording.zone),
        ),
        picks=[
            Pick(
                **{name: pick[name] for name in ("part_number", "instead_of", "quantity", "store", "lot", "bin")},
                **_when_and_whose(pick, wording.zone),
            )
            for pick in kit.parts
        ],
        oil=[
            OilPick(
                **{name: pick[name] for name in ("fluid", "name", "store", "lot")},
                volume=litres(pick["volume_L"]),
                container=None if pick["container_L"] is None else litres(pick["container_L"]),
                **_when_and_whose(pick, wording.zone),
            )
            for pick in kit.oil
        ],
    )


def litres(volume_L: float) -> Volume:
    """As the wire carries it."""
    return Volume(value=round(volume_L, 3), unit="L")


def _when_and_whose(pick: sa.RowMapping, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "arrives_at": _local(pick["arrives_at"], zone),
        "arrives_with": pick["arrives_with"],
        "reserved_at": _local(pick["reserved_at"], zone),
        "reserved_by": pick["reserved_by"],
    }


def _local(moment: datetime | None, zone: ZoneInfo) -> datetime | None:
    return None if moment is None else moment.astimezone(zone)


@dataclass(frozen=True, slots=True)
class _Kit:
    parts: list[sa.RowMapping] = field(default_factory=list)
    oil: list[sa.RowMapping] = field(default_factory=list)


def _kits(connection: sa.Connection, task_ids: Sequence[int]) -> dict[int, _Kit]:
    found = {task: _Kit() for task in task_ids}
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


def _jobs(connection: sa.Connection, task_rows: Sequence[sa.RowMapping]) -> dict[int, Job]:
    """What each task's cautions depend on."""
    systems = {
        row["system"]: row
        for row in connection.execute(
            sa.select(t.systems, t.fluids.c.family).join(t.fluids, t.fluids.c.fluid == t.systems.c.fluid)
        ).mappings()
    }
    places = {
        row["position"]: row
        for row in connection.execute(
            sa.select(t.positions.c.position, t.positions.c.place, t.positions.c.access)
        ).mappings()
    }
    return {row["id"]: _job(row, systems[row["system"]], places.get(row["position"])) for row in task_rows}


def _job(task: sa.RowMapping, system: sa.RowMapping, position: sa.RowMapping | None) -> Job:
    return Job(
        task=TaskKind(task["kind"]),
        place=Place(position["place"]) if position is not None else Place.OTHER,
        hazards=tuple(system["hazards"] or ()),
        access=Access(position["access"]) if position is not None and position["access"] else None,
        fluid_family=FluidFamily(system["family"]) if system["family"] else None,
        working_pressure_bar=system["working_pressure_bar"],
        working_temperature_degC=system["working_temperature_degC"],
        isolation_procedure=system["isolation_procedure"],
        permits=system["permits"],
    )
