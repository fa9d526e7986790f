"""The main path of a planning pass, on one screen: from what is known to due dates, diagnoses, work and picks."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from scheduler.planning.after_service import after_service
from scheduler.planning.change_dates import change_dates
from scheduler.planning.cleanliness import Verdict, assess_cleanliness
from scheduler.planning.cleanliness_diagnoses import blamed_elements, cleanliness_diagnoses, runs_past
from scheduler.planning.cold_bypass import cold_bypasses
from scheduler.planning.condition import Condition, assess_condition
from scheduler.planning.contamination import assess_contamination
from scheduler.planning.contamination_diagnoses import contamination_diagnoses, with_causes
from scheduler.planning.demand import ItemDemand, forecast_demand
from scheduler.planning.diagnoses import Diagnosis, diagnose
from scheduler.planning.due import DueItem, assess_due
from scheduler.planning.duty import Duty, assess_duty
from scheduler.planning.found_diagnoses import found_diagnoses
from scheduler.planning.indicator import Sighting, sightings_of
from scheduler.planning.kits import (
    RENEWS,
    Arrival,
    KitSpec,
    Pick,
    ShelfLot,
    Subject,
    TaskNeeds,
    needs_of,
    pick_all,
    without_reserved,
)
from scheduler.planning.limit_dates import limit_dates
from scheduler.planning.oil_care import oil_care
from scheduler.planning.oil_kits import OilArrival, OilNeed, OilPick, OilShelf, oil_need, pick_oil
from scheduler.planning.open_bypass import open_bypasses
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.planning.reading_diagnoses import reading_diagnoses
from scheduler.planning.risk import accepted_risk
from scheduler.planning.short_lives import short_lives
from scheduler.planning.suction_diagnoses import suction_diagnoses
from scheduler.planning.wanted_work import Look, wanted_work
from scheduler.planning.water import water_diagnoses, water_levels
from scheduler.planning.work_orders import OpenOrder, OpenTask, WorkPlan, plan_work
from scheduler.statistics.calibration import Calibration
from scheduler.statistics.condition_forecast import ElementPrior
from scheduler.vocabulary import WorkOrderState


@dataclass(frozen=True, slots=True)
class PlannedTask:
    """The state of the order that the task stands in, the day it is planned for, and what raised it."""

    state: WorkOrderState
    day: float
    because: Mapping[str, Any]


PlannedWork = Mapping[Subject, PlannedTask]
"""All open work by its subject."""


@dataclass(frozen=True, slots=True)
class Shelves:
    """What jobs can be given. Lots are less what work underway has taken into its hands and what is reserved;
    `reserved` and `reserved_oil_L` hold that by task, pieces by the part that was needed; `reserved_as` which part
    that was met with."""

    lots: tuple[ShelfLot, ...] = ()
    supply: tuple[Arrival, ...] = ()
    oil: tuple[OilShelf, ...] = ()
    oil_supply: tuple[OilArrival, ...] = ()
    reserved: Mapping[Subject, Mapping[str, int]] = field(default_factory=dict)
    reserved_as: Mapping[Subject, Mapping[str, str]] = field(default_factory=dict)
    reserved_oil_L: Mapping[Subject, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Known:
    """What a pass decides from. `prior` None learns it afresh; `in_scope` are the systems in `columns`.

    Orders and tasks are those of every system, since they compete for the same shelves. `looked_day` says of each
    diagnosis that stands when the look it asked for was done. `demand_edge_d` (W + 1,) are the periods, in days from
    now, of which the demand is wanted; None: of none.
    """

    columns: PlantColumns
    prior: ElementPrior | None
    orders: tuple[OpenOrder, ...]
    tasks: tuple[OpenTask, ...]
    kits: Mapping[str, KitSpec]
    shelves: Shelves
    looked_day: Mapping[Look, float] = field(default_factory=dict)
    demand_edge_d: Floats | None = None


@dataclass(frozen=True, slots=True)
class Planned:
    """What a pass decided. Picks are those of every open task that is not underway, without what is reserved.

    `calibration` is None where the prior was known beforehand. `duty` and `condition`: what dates were made of.
    """

    items: tuple[DueItem, ...]
    diagnoses: tuple[Diagnosis, ...]
    prior: ElementPrior
    calibration: Calibration | None
    work: WorkPlan
    picks: tuple[Pick, ...]
    oil_picks: tuple[OilPick, ...]
    demand: tuple[ItemDemand, ...]
    duty: Duty
    condition: Condition


@dataclass(frozen=True, slots=True)
class Judged:
    """What a pass holds of the plant before it plans anything. `blamed`: by position, what samples say against it."""

    duty: Duty
    condition: Condition
    sightings: Mapping[int, Sighting]
    blamed: Mapping[int, dict[str, Any]]
    diagnoses: tuple[Diagnosis, ...]


def judge(columns: PlantColumns, prior: ElementPrior | None) -> Judged:
    """Every diagnosis that stands, with what it was made of; `prior` None learns it afresh."""
    duty = assess_duty(columns)
    condition = assess_condition(columns, duty, prior)
    sightings = sightings_of(columns, condition)
    seen = diagnose(columns, duty, condition, sightings)
    cleanliness = assess_cleanliness(columns, goes_round=runs_past(seen))
    dirty = frozenset(each.system for each in cleanliness if each.verdict is Verdict.MISSED)
    balance = assess_contamination(columns, duty, condition, runs_past(seen), dirty=dirty)
    cleanliness = with_causes(cleanliness, columns, balance)
    diagnoses = seen + cleanliness_diagnoses(cleanliness) + found_diagnoses(columns)
    diagnoses += contamination_diagnoses(columns, balance) + after_service(columns, balance)
    diagnoses += water_diagnoses(columns, water_levels(columns))
    diagnoses += oil_care(columns, cleanliness)
    diagnoses += suction_diagnoses(columns, condition) + cold_bypasses(columns, condition, sightings)
    diagnoses += short_lives(columns, duty, condition, balance)
    diagnoses += open_bypasses(columns, duty, condition, cleanliness, balance)
    diagnoses += reading_diagnoses(columns, duty, condition)
    return Judged(duty, condition, sightings, blamed_elements(cleanliness), tuple(diagnoses))


def plan(known: Known) -> Planned:
    """Decide everything that a pass decides."""
    columns = known.columns
    judged = judge(columns, known.prior)
    duty, condition, sightings = judged.duty, judged.condition, judged.sightings
    diagnoses, blamed = judged.diagnoses, judged.blamed
    dates, risk = limit_dates(columns, duty, condition, sightings, blamed), accepted_risk(columns, duty, condition)
    items = assess_due(columns, duty, condition, dates, risk, sightings, blamed)
    in_scope = frozenset(columns.systems.code)
    orders = [order for order in known.orders if order.system in in_scope]
    tasks = [task for task in known.tasks if task.system in in_scope]
    wanted = wanted_work(columns, items, diagnoses, frozenset(task.subject for task in tasks), known.looked_day)
    work = plan_work(wanted, orders, tasks, _issued_until(columns))
    planned = _planned(known, work)
    picks, oil_picks = picks_of_work(planned, known.kits, columns.alternates, known.shelves, columns.as_of_day)
    demand: tuple[ItemDemand, ...] = ()
    if known.demand_edge_d is not None:
        planned_day = _planned_changes(columns, planned)
        changes = change_dates(columns, duty, condition, dates, risk.level, planned_day, known.demand_edge_d)
        demand = forecast_demand(columns, changes, known.kits)
    return Planned(
        *(tuple(items), diagnoses, condition.prior, condition.calibration, work),
        *(tuple(picks), tuple(oil_picks), demand, duty, condition),
    )


def _issued_until(columns: PlantColumns) -> dict[str, float]:
    until = columns.as_of_day + columns.plants.issue_ahead_d
    return {code: float(day) for code, day in zip(columns.plants.code, until, strict=True) if day == day}


def picks_of_work(
    planned: PlannedWork,
    kits: Mapping[str, KitSpec],
    alternates: Mapping[str, tuple[str, ...]],
    shelves: Shelves,
    as_of_day: float,
) -> tuple[list[Pick], list[OilPick]]:
    """Parts and oil for the drafts as planned, and for all other open work that has not begun."""
    needs, oil_needs = [], []
    for subject, task in planned.items():
        if task.state is WorkOrderState.UNDERWAY:
            continue
        issued, spec = task.state is not WorkOrderState.DRAFT, kits.get(subject[1])
        parts = without_reserved(needs_of(subject[2], spec, alternates), shelves.reserved.get(subject, {}))
        held = "" if spec is None else shelves.reserved_as.get(subject, {}).get(spec.part_number, "")
        needs.append(TaskNeeds(subject, issued, task.day, parts, held))
        fluid, volume_L = oil_need(subject[2], spec, task.because)
        if fluid is not None and volume_L > 0.0:
            reserved_L = shelves.reserved_oil_L.get(subject, 0.0)
            oil_needs.append(OilNeed(subject, issued, task.day, fluid, volume_L, reserved_L))
    return (
        pick_all(needs, shelves.lots, shelves.supply, as_of_day),
        pick_oil(oil_needs, shelves.oil, shelves.oil_supply, as_of_day),
    )


def _planned(known: Known, work: WorkPlan) -> PlannedWork:
    """All open work as it is planned now."""
    order_of = {order.id: order for order in known.orders}
    withdrawn = set(work.withdrawn_tasks)
    planned = {
        task.subject: PlannedTask(order_of[task.order].state, order_of[task.order].planned_day, task.because)
        for task in known.tasks
        if task.id not in withdrawn
    }
    for draft in work.drafts:
        state = WorkOrderState.ISSUED if draft.issue else WorkOrderState.DRAFT
        for _, wanted in draft.tasks:
            planned[wanted.subject] = PlannedTask(state, draft.planned_day, wanted.because)
    return planned


def _planned_changes(columns: PlantColumns, planned: PlannedWork) -> dict[int, float]:
    """The day of the open work on each position that fits an element."""
    row_of = {code: row for row, code in enumerate(columns.positions.code)}
    return {
        row_of[position]: task.day
        for (_, position, kind), task in planned.items()
        if kind in RENEWS and position in row_of
    }
