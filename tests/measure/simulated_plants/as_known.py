"""A simulated plant as the forecaster may know it at a moment: facts up to then, and nothing of the truth."""

from collections.abc import Sequence

import numpy as np

from scheduler.engineering.oil import Fluid
from scheduler.engineering.oil_properties import oil_properties
from scheduler.planning import plant_columns as pc
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.vocabulary import Access, ElementKind, FluidFamily, Place, RemovalReason, Status
from tests.measure.simulated_plants.machine import (
    DENSITY_15,
    OIL_40_MM2_S,
    OIL_100_MM2_S,
    Life,
    SimulatedPlant,
)

NAN = float("nan")
OIL = Fluid("HM46", "Hydraulic oil", FluidFamily.HM, 46)


def as_known(plant: SimulatedPlant, as_of_day: float) -> PlantColumns:
    """Columns of all that was noted up to `as_of_day`; places in the plant's order."""
    places = plant.places
    current = current_lives(plant, as_of_day)
    finished = [life for life in plant.lives if life.removed_day <= as_of_day]
    count = len(places)
    return PlantColumns(
        as_of_day=as_of_day,
        plants=pc.PlantRows(("PLANT",), ("UTC",), ("",), np.array([0.1]), np.array([42.0]), np.array([NAN])),
        systems=_systems(plant),
        meters=_meters(plant, as_of_day),
        types=_types(plant),
        curves=pc.ElementCurves(np.zeros(len(plant.types) + 1, dtype=np.intp), np.zeros(0), np.zeros(0)),
        positions=_positions(plant),
        fitted=pc.FittedRows(
            fitted_day=np.array([NAN if life is None else life.fitted_day for life in current]),
            is_date=np.zeros(count, dtype=bool),
            type=_ints([-1 if life is None else place.type for life, place in zip(current, places, strict=True)]),
            lot=("",) * count,
            lot_expires_day=np.full(count, NAN),
        ),
        lives=pc.FinishedLives(
            position=_ints([life.place for life in finished]),
            type=_ints([places[life.place].type for life in finished]),
            fitted_day=np.array([life.fitted_day for life in finished]),
            fitted_is_date=np.zeros(len(finished), dtype=bool),
            removed_day=np.array([life.removed_day for life in finished]),
            removed_is_date=np.zeros(len(finished), dtype=bool),
            reason=tuple(RemovalReason(life.reason) for life in finished),
        ),
        dp=_readings(current, as_of_day),
        life_dp=_readings(finished, as_of_day),
        events=pc.EventRows(_ints([]), _ints([]), np.zeros(0), ()),
        findings=pc.FindingRows(_ints([]), _ints([]), np.zeros(0), ()),
        levels=pc.LevelRows(
            _ints([]), *(np.zeros(0) for _ in range(3)), *(np.zeros(0, dtype=bool) for _ in range(2))
        ),
        top_ups=pc.TopUpRows(_ints([]), np.zeros(0), (), np.zeros(0)),
        oil_samples=pc.OilSampleRows(
            _ints([]), _ints([]), (), np.zeros(0), (), np.zeros((0, 3)), np.zeros(0), np.zeros(0)
        ),
        stops=pc.StopRows(_ints([]), _ints([]), np.zeros(0), np.zeros(0)),
        alternates={},
    )


def current_lives(plant: SimulatedPlant, as_of_day: float) -> list[Life | None]:
    """What sits in each place at a moment; None for the day of a change."""
    found: list[Life | None] = [None] * len(plant.places)
    for life in plant.lives:
        if life.fitted_day < as_of_day < life.removed_day:
            found[life.place] = life
    return found


def _systems(plant: SimulatedPlant) -> pc.SystemRows:
    count = len(plant.systems)
    oil = oil_properties(OIL_40_MM2_S, None, OIL_100_MM2_S, None, DENSITY_15)
    return pc.SystemRows(
        code=tuple(f"S{row}" for row in range(count)),
        plant=np.zeros(count, dtype=np.intp),
        status=(Status.IN_SERVICE,) * count,
        fluid=(OIL,) * count,
        oil=(oil,) * count,
        water_saturation_20_ppm=np.full(count, NAN),
        working_temperature_degC=np.full(count, 50.0),
        coldest_start_degC=np.full(count, NAN),
        hours_per_week=np.array([system.hours_per_week for system in plant.systems]),
        reservoir_volume_L=np.full(count, NAN),
        working_pressure_bar=np.full(count, NAN),
        most_sensitive=("",) * count,
        cleanliness_target=(None,) * count,
        stop_cost=np.full(count, NAN),
        labour_cost=np.full(count, NAN),
        late_cost=np.full(count, NAN),
    )


def _meters(plant: SimulatedPlant, as_of_day: float) -> pc.MeterRows:
    told = [system.meter_day <= as_of_day for system in plant.systems]
    return pc.MeterRows(
        system=np.arange(len(told)),
        code=("",) * len(told),
        digits=(None,) * len(told),
        offsets=_offsets([int(known.sum()) for known in told]),
        day=np.concatenate([system.meter_day[known] for system, known in zip(plant.systems, told, strict=True)]),
        shown_h=np.concatenate([system.meter_h[known] for system, known in zip(plant.systems, told, strict=True)]),
        kind=np.zeros(sum(int(known.sum()) for known in told), dtype=np.intp),
        is_date=np.zeros(sum(int(known.sum()) for known in told), dtype=bool),
    )


def _types(plant: SimulatedPlant) -> pc.ElementTypeRows:
    count = len(plant.types)
    return pc.ElementTypeRows(
        part_number=tuple(f"E{row}" for row in range(count)),
        kind=(ElementKind.ELEMENT,) * count,
        seals=("NBR",) * count,
        seal_kit=("",) * count,
        clean_dp_bar=np.array([each.clean_dp_bar for each in plant.types]),
        rated_flow_lpm=np.array([each.rated_flow_lpm for each in plant.types]),
        rated_viscosity_mm2_s=np.full(count, 30.0),
        shelf_life_d=np.full(count, NAN),
        rating_um=np.full(count, NAN),
        beta=np.full(count, NAN),
        capacity_g=np.full(count, NAN),
        price=np.full(count, NAN),
        currency=("",) * count,
    )


def _positions(plant: SimulatedPlant) -> pc.PositionRows:
    places = plant.places
    count = len(places)
    nothing = np.full(count, NAN)
    return pc.PositionRows(
        code=tuple(f"P{row}" for row in range(count)),
        system=_ints([place.system for place in places]),
        meter=_ints([place.system for place in places]),
        place=(Place.RETURN,) * count,
        specified_type=_ints([place.type for place in places]),
        quantity=np.ones(count, dtype=np.intp),
        housing=("",) * count,
        side=("",) * count,
        status=(Status.IN_SERVICE,) * count,
        access=(Access.STOPPED,) * count,
        flow_lpm=np.array([place.flow_lpm for place in places]),
        terminal_dp_bar=np.array([place.terminal_dp_bar for place in places]),
        indicator_dp_bar=nothing,
        bypass_dp_bar=np.array([place.bypass_dp_bar for place in places]),
        housing_dp_bar=np.array([place.housing_dp_bar if place.housing_told else NAN for place in places]),
        vacuum_limit_bar=nothing,
        inlet_head_m=nothing,
        shut_at_start=np.zeros(count, dtype=bool),
        max_hours=nothing,
        max_age_d=nothing,
    )


def _readings(lives: Sequence[Life | None], as_of_day: float) -> pc.DpReadings:
    known = [np.zeros(0, dtype=bool) if life is None else life.day <= as_of_day for life in lives]

    def column(name: str) -> Floats:
        parts = [getattr(life, name)[at] for life, at in zip(lives, known, strict=True) if life is not None]
        return np.concatenate([np.zeros(0), *parts])

    count = sum(int(at.sum()) for at in known)
    nothing = np.full(count, NAN)
    return pc.DpReadings(
        offsets=_offsets([int(at.sum()) for at in known]),
        day=column("day"),
        is_date=np.zeros(count, dtype=bool),
        stage=(None,) * count,
        dp_bar=column("dp_bar"),
        upstream_bar=nothing,
        downstream_bar=nothing,
        vacuum_bar=nothing,
        flow_lpm=column("flow_lpm"),
        oil_temperature_degC=column("oil_temperature_degC"),
        indicator=(None,) * count,
    )


def _ints(values: Sequence[int]) -> pc.Ints:
    return np.array(values, dtype=np.intp)


def _offsets(counts: Sequence[int]) -> pc.Ints:
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.intp)
