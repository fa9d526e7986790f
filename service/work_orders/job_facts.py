"""What a job card depends on, as the plant has told it: each task with its position, element type, oil and system.

A page of many orders takes the same few queries as one order.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from scheduler.engineering.new_element import CARD_TEMPERATURES_degC, ExpectedDp, NewElement, expected_dp
from scheduler.engineering.oil_properties import USUAL_DENSITY_15_KG_M3, oil_properties
from scheduler.engineering.pressure_drop import USUAL_WARM_TEMPERATURE_degC
from scheduler.engineering.terminal_dp import assembly_terminal_dp_bar
from scheduler.job_card.job import Job
from scheduler.planning.kits import RENEWS, standing_in
from scheduler.vocabulary import (
    Access,
    Answer,
    DisplayUnits,
    EventKind,
    FluidFamily,
    IndicatorKind,
    Place,
    TaskKind,
)
from service.database import current_rows
from service.due.wording import Wording
from service.plant_folder import tables as t
from service.plant_store.catalogue import load_alternates
from service.stock.queries import goes_back_in
from service.work_orders.oil_facts import heaviest_lift, hours_of_clean_up, transfer_filters, with_oil_care
from service.work_orders.picked import Kit

_UNPLANNED = "unplanned"
_SHOWS_NO_DP = frozenset({Place.SUCTION, Place.BREATHER, Place.FILLER})
"""Places at which a new element is not known by its ΔP: a suction strainer by vacuum, the lid by nothing."""


@dataclass(frozen=True, slots=True)
class JobFacts:
    """A task's card in facts. `expected_after` is what the new element should show, by oil temperature; empty where
    that is not known, or where no new element is fitted."""

    job: Job
    expected_after: tuple[ExpectedDp, ...] = ()


def job_facts(
    connection: sa.Connection, task_rows: Sequence[sa.RowMapping], kits: Mapping[int, Kit], *, with_steps: bool
) -> dict[int, JobFacts]:
    """The facts of each task. Without `with_steps` those that no caution depends on are left out: alternates, the
    strainer's cleanings, the limit, and what the new element should show."""
    systems = _systems(connection, {row["system"] for row in task_rows})
    positions = _positions(connection, {row["position"] for row in task_rows})
    found = {
        row["id"]: JobFacts(_job(row, systems[row["system"]], positions.get(row["position"]), kits[row["id"]]))
        for row in task_rows
    }
    if not with_steps:
        return found
    known = _Catalogue.of(connection, positions.values())
    filters = transfer_filters(connection, systems)
    found = {task: JobFacts(with_oil_care(facts.job, filters)) for task, facts in found.items()}
    return {
        row["id"]: _with_catalogue(
            found[row["id"]].job, systems[row["system"]], positions.get(row["position"]), kits[row["id"]], known
        )
        for row in task_rows
    }


def _systems(connection: sa.Connection, codes: set[str]) -> dict[str, sa.RowMapping]:
    fluids = [column.label(f"fluid_{column.name}") for column in t.fluids.c]
    query = (
        sa.select(t.systems, *fluids, t.plants.c.time_zone, t.plants.c.display_units)
        .join(t.fluids, t.fluids.c.fluid == t.systems.c.fluid)
        .join(t.plants, t.plants.c.plant == t.systems.c.plant)
        .where(t.systems.c.system.in_(codes))
    )
    return {row["system"]: row for row in connection.execute(query).mappings()}


def _positions(connection: sa.Connection, codes: set[str]) -> dict[str, sa.RowMapping]:
    kinds = t.element_types.c
    query = (
        sa.select(t.positions, kinds.kind, kinds.seals, kinds.seal_kit, kinds.cleanable, kinds.max_cleanings)
        .join(t.element_types, kinds.part_number == t.positions.c.part_number)
        .where(t.positions.c.position.in_(codes))
    )
    return {row["position"]: row for row in connection.execute(query).mappings()}


def _job(task: sa.RowMapping, system: sa.RowMapping, position: sa.RowMapping | None, kit: Kit) -> Job:
    family = system["fluid_family"]
    job = Job(
        task=TaskKind(task["kind"]),
        place=Place.OTHER,
        hazards=tuple(system["hazards"] or ()),
        fluid_family=FluidFamily(family) if family else None,
        working_pressure_bar=system["working_pressure_bar"],
        working_temperature_degC=system["working_temperature_degC"],
        isolation_procedure=system["isolation_procedure"],
        permits=system["permits"],
        system=task["system"],
        fluid=system["fluid"],
        fluid_name=system["fluid_name"],
        grade=system["fluid_grade"],
        reservoir_volume_L=system["reservoir_volume_L"],
        target_code=system["cleanliness_target"],
        level_position=system["level_position"],
        oil_needed_L=sum(pick["volume_L"] for pick in kit.oil) or None,
        clean_up=hours_of_clean_up(task["because"]),
        asked_by=_asked_by(task, system),
        event=_event(task["because"]["facts"]),
    )
    job = _with_heaviest(job, system, kit)
    return job if position is None else _at(job, position, kit)


def _at(job: Job, position: sa.RowMapping, kit: Kit) -> Job:
    return replace(
        job,
        position=position["position"],
        place=Place(position["place"]),
        access=Access(position["access"]) if position["access"] else None,
        side=position["side"] or "",
        housing=position["housing"],
        test_point=position["test_point"],
        torque_Nm=position["torque_Nm"],
        housing_volume_L=position["housing_volume_L"],
        bypass=Answer(position["bypass"]) if position["bypass"] else None,
        indicator_kind=IndicatorKind(position["indicator_kind"]) if position["indicator_kind"] else None,
        inlet_head_m=position["inlet_head_m"],
        flow_lpm=position["flow_lpm"],
        part_number=position["part_number"],
        quantity=position["quantity"] or 1,
        seals=position["seals"],
        seal_kit=None if position["seal_kit"] is None else _part_of_kit(position["seal_kit"], kit),
        cleaned=goes_back_in(position["kind"], position["cleanable"]),
        max_cleanings=position["max_cleanings"],
    )


def _limit_bar(position: sa.RowMapping) -> float | None:
    """The ΔP across the assembly at which the element is spent: stated, or what stands in for it."""
    nothing = float("nan")
    stated, indicator, bypass = (
        nothing if position[name] is None else position[name]
        for name in ("terminal_dp_bar", "indicator_dp_bar", "bypass_dp_bar")
    )
    limit_bar, _ = assembly_terminal_dp_bar(stated, indicator, nothing if position["bypass"] == Answer.NO else bypass)
    return float(limit_bar) if limit_bar > 0.0 else None


def _asked_by(task: sa.RowMapping, system: sa.RowMapping) -> str | None:
    """The finding behind a look, in words; a change has its own reason on the card."""
    if task["kind"] in RENEWS or task["because"]["code"] == _UNPLANNED:
        return None
    units = DisplayUnits(system["display_units"] or DisplayUnits.METRIC)
    return Wording(ZoneInfo(system["time_zone"]), units).why_work(task["because"])


def _event(facts: Mapping[str, Any]) -> EventKind | None:
    told = facts.get("event")
    return EventKind(told) if told in {kind.value for kind in EventKind} else None


def _with_heaviest(job: Job, system: sa.RowMapping, kit: Kit) -> Job:
    """The largest container of the kit; its own mass is the usual one, since it is on no record."""
    of_kit = [pick for pick in kit.oil if pick["container_L"] is not None]
    if not of_kit:
        return job
    largest = max(of_kit, key=lambda pick: float(pick["container_L"]))
    density = system["fluid_density_15_kg_m3"] or USUAL_DENSITY_15_KG_M3
    return replace(job, **heaviest_lift(largest["container_L"], density, largest["fluid"]))


@dataclass(frozen=True, slots=True)
class _Catalogue:
    """What may stand in for which part, element types by part number, and the cleanings of what is fitted."""

    alternates: dict[str, tuple[str, ...]]
    types: dict[str, sa.RowMapping]
    cleanings: dict[str, int | None]

    @classmethod
    def of(cls, connection: sa.Connection, positions: Iterable[sa.RowMapping]) -> "_Catalogue":
        at = list(positions)
        alternates = load_alternates(connection)
        specified = {row["part_number"] for row in at}
        parts = specified | {part for each in specified for part in alternates.get(each, ())}
        types = sa.select(t.element_types).where(t.element_types.c.part_number.in_(parts))
        stays = sa.select(t.installations.c.position, t.installations.c.cleanings).where(
            current_rows(t.installations),
            t.installations.c.removed_at.is_(None),
            t.installations.c.position.in_([row["position"] for row in at]),
        )
        return cls(
            alternates,
            {row["part_number"]: row for row in connection.execute(types).mappings()},
            {row.position: row.cleanings for row in connection.execute(stays)},
        )


def _with_catalogue(
    job: Job, system: sa.RowMapping, position: sa.RowMapping | None, kit: Kit, known: _Catalogue
) -> JobFacts:
    if position is None:
        return JobFacts(job)
    specified: str = position["part_number"]
    seals = {part: row["seals"] or "" for part, row in known.types.items()}
    job = replace(
        job,
        alternates=standing_in(specified, known.alternates, seals, job.fluid_family),
        cleanings=known.cleanings.get(job.position),
        terminal_dp_bar=_limit_bar(position),
    )
    if not job.opens_circuit or job.task not in RENEWS or job.place in _SHOWS_NO_DP:
        return JobFacts(job)
    warm_degC = job.working_temperature_degC
    warm_degC = USUAL_WARM_TEMPERATURE_degC if warm_degC is None else warm_degC
    kind = known.types.get(_part_of_kit(specified, kit), known.types[specified])
    new = _new_element(kind, position, system, warm_degC)
    rows = expected_dp(new, (*CARD_TEMPERATURES_degC, warm_degC))
    # the step's sentence says what holds warm, as a gauge shows it; the table beside it has every temperature
    warm = tuple(
        ExpectedDp(warm_degC, round(row.low_bar, 2), round(row.high_bar, 2))
        for row in rows
        if row.oil_temperature_degC == warm_degC
    )
    return JobFacts(replace(job, dp_after=warm), rows)


def _part_of_kit(specified: str, kit: Kit) -> str:
    """What is going to be fitted: what the kit has taken instead, else what is specified."""
    taken = (pick["part_number"] for pick in kit.parts if pick["instead_of"] == specified)
    return next(taken, specified)


def _new_element(kind: sa.RowMapping, position: sa.RowMapping, system: sa.RowMapping, warm_degC: float) -> NewElement:
    oil = oil_properties(
        viscosity_40_mm2_s=system["fluid_viscosity_40_mm2_s"],
        grade=system["fluid_grade"],
        viscosity_100_mm2_s=system["fluid_viscosity_100_mm2_s"],
        viscosity_index=system["fluid_viscosity_index"],
        density_15_kg_m3=system["fluid_density_15_kg_m3"],
    )

    def told(row: sa.RowMapping, name: str) -> float:
        return float("nan") if row[name] is None else float(row[name])

    return NewElement(
        clean_dp_bar=told(kind, "clean_dp_bar"),
        rated_flow_lpm=told(kind, "rated_flow_lpm"),
        rated_viscosity_mm2_s=told(kind, "rated_viscosity_mm2_s"),
        flow_lpm=told(position, "flow_lpm"),
        housing_dp_bar=told(position, "housing_dp_bar"),
        warm_degC=warm_degC,
        walther_a=oil.walther_a,
        walther_b=oil.walther_b,
        density_15_kg_m3=oil.density_15_kg_m3,
        in_parallel=position["quantity"] or 1,
    )
