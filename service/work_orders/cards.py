"""Work orders as the wire shows them: with the reason of each task, its picks, and the words of the job card."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from api_schemas.quantities import Flow, PressureDifference, Temperature, Volume
from api_schemas.work_orders import ExpectedAfter, OilPick, Pick, Proposal, Step, Task, WorkOrder
from scheduler.job_card.cautions import cautions
from scheduler.job_card.steps import steps
from scheduler.vocabulary import DisplayUnits, WorkOrderState
from service.due.wording import Wording
from service.plant_folder import tables as t
from service.plant_store.time import from_day
from service.problems import NotFound
from service.work_orders.job_facts import JobFacts, job_facts
from service.work_orders.picked import Kit, kits_of
from service.work_orders.tables import tasks, work_orders


def work_order(connection: sa.Connection, id_: int) -> WorkOrder:
    """One order, with the steps of its open tasks. Raises NotFound."""
    row = connection.execute(sa.select(work_orders).where(work_orders.c.id == id_)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"there is no work order {id_}")
    return work_order_cards(connection, [row], with_steps=True)[0]


def work_order_cards(
    connection: sa.Connection, rows: Sequence[sa.RowMapping], *, with_steps: bool = False
) -> list[WorkOrder]:
    """The orders of `rows` with everything that belongs to them; the steps of each task only if they are wanted."""
    ids = [row["id"] for row in rows]
    task_rows = (
        connection.execute(sa.select(tasks).where(tasks.c.work_order.in_(ids)).order_by(tasks.c.id)).mappings().all()
    )
    kits = kits_of(connection, [row["id"] for row in task_rows])
    plants = {row["plant"]: row for row in connection.execute(sa.select(t.plants)).mappings()}
    facts = job_facts(connection, task_rows, kits, with_steps=with_steps)
    of_order: dict[int, list[sa.RowMapping]] = {id_: [] for id_ in ids}
    for each in task_rows:
        of_order[each["work_order"]].append(each)
    return [_card(row, plants[row["plant"]], of_order[row["id"]], kits, facts, with_steps=with_steps) for row in rows]


def zone_of(connection: sa.Connection, plant: str) -> ZoneInfo:
    """The plant's."""
    query = sa.select(t.plants.c.time_zone).where(t.plants.c.plant == plant)
    return ZoneInfo(connection.execute(query).scalar_one())


def cautions_of(connection: sa.Connection, task: int) -> list[str]:
    """The cautions of one task."""
    rows = connection.execute(sa.select(tasks).where(tasks.c.id == task)).mappings().all()
    facts = job_facts(connection, rows, kits_of(connection, [task]), with_steps=False)
    return [str(caution) for caution in cautions(facts[task].job)]


def _card(
    row: sa.RowMapping,
    plant: sa.RowMapping,
    own_tasks: Sequence[sa.RowMapping],
    kits: Mapping[int, Kit],
    facts: Mapping[int, JobFacts],
    *,
    with_steps: bool,
) -> WorkOrder:
    zone = ZoneInfo(plant["time_zone"])
    wording = Wording(zone, DisplayUnits(plant["display_units"] or DisplayUnits.METRIC))
    # a withdrawn order shows what it was for: the job may have been done all the same
    is_withdrawn = row["state"] == WorkOrderState.WITHDRAWN
    kept = [each for each in own_tasks if is_withdrawn or each["state"] != "withdrawn"]
    is_open = {each["id"] for each in kept if each["state"] == "open"}
    shown = [
        _task(each, kits[each["id"]], facts[each["id"]] if with_steps and each["id"] in is_open else None, wording)
        for each in kept
    ]
    said = [str(caution) for each in kept if each["id"] in is_open for caution in cautions(facts[each["id"]].job)]
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


def _task(row: sa.RowMapping, kit: Kit, facts: JobFacts | None, wording: Wording) -> Task:
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
        steps=[] if facts is None else _steps(facts),
        expected_after=[] if facts is None else _expected_after(facts),
    )


def _steps(facts: JobFacts) -> list[Step]:
    return [
        Step(key=step.key, says=step.says, reference=step.reference, records=list(step.records))
        for step in steps(facts.job)
    ]


def _expected_after(facts: JobFacts) -> list[ExpectedAfter]:
    flow_lpm = facts.job.flow_lpm
    return [
        ExpectedAfter(
            oil_temperature=Temperature(value=row.oil_temperature_degC, unit="degC"),
            flow=None if flow_lpm is None else Flow(value=flow_lpm, unit="L/min"),
            low=PressureDifference(value=row.low_bar, unit="bar"),
            high=PressureDifference(value=row.high_bar, unit="bar"),
        )
        for row in facts.expected_after
    ]


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
