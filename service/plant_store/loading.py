"""Load a plant, or a hundred, into columns: everything that was known at a moment."""

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa

from scheduler.planning.plant_columns import PlantColumns
from service.plant_folder import tables as t
from service.plant_store.catalogue import (
    load_alternates,
    load_curves,
    load_plants,
    load_positions,
    load_stops,
    load_systems,
    load_types,
)
from service.plant_store.codes import Codes
from service.plant_store.lives import load_fitted, load_installations, load_lives
from service.plant_store.meters import load_meter_observations, load_meter_rows, load_meters
from service.plant_store.observations import (
    load_events,
    load_findings,
    load_levels,
    load_oil_samples,
    load_top_ups,
)
from service.plant_store.readings import load_readings, readings_of
from service.plant_store.rows import Row, every, within
from service.plant_store.time import to_day


def load_plant(connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None = None) -> PlantColumns:
    """All that is known at `as_of`, of every system or of the `systems` named."""
    plant_rows = every(connection, sa.select(t.plants).order_by(t.plants.c.plant))
    system_rows = every(connection, within(sa.select(t.systems), t.systems.c.system, systems))
    type_rows = every(connection, sa.select(t.element_types).order_by(t.element_types.c.part_number))
    position_rows = load_position_rows(connection, systems)
    installed = load_installations(connection, as_of, systems)
    meter_readings = load_meter_observations(connection, as_of, systems, installed)
    codes = Codes(
        {row["plant"]: i for i, row in enumerate(plant_rows)},
        {row["system"]: i for i, row in enumerate(system_rows)},
        {row["part_number"]: i for i, row in enumerate(type_rows)},
        {row["position"]: i for i, row in enumerate(position_rows)},
        {meter: i for i, meter in enumerate(load_meters(connection, systems, position_rows, meter_readings))},
    )
    as_of_day = to_day(as_of)
    fluids = {row["fluid"]: row for row in every(connection, sa.select(t.fluids))}
    current = {row["position"]: row for row in installed if row["removed_at"] is None}
    ended = [row for row in installed if row["removed_at"] is not None]
    dp_readings = load_readings(connection, as_of, systems)
    plants = load_plants(plant_rows)
    return PlantColumns(
        as_of_day=as_of_day,
        plants=plants,
        systems=load_systems(system_rows, codes, fluids, plants.currency),
        meters=load_meter_rows(connection, codes, meter_readings, as_of_day),
        types=load_types(type_rows),
        curves=load_curves(connection, codes),
        positions=load_positions(position_rows, codes),
        fitted=load_fitted(connection, position_rows, codes, current, as_of),
        lives=load_lives(ended, position_rows, codes),
        dp=readings_of(dp_readings, [current.get(row["position"]) for row in position_rows], as_of),
        life_dp=readings_of(dp_readings, ended, as_of),
        events=load_events(connection, as_of, systems, codes),
        findings=load_findings(connection, as_of, systems, codes),
        levels=load_levels(connection, as_of, systems, codes),
        top_ups=load_top_ups(connection, as_of, systems, codes, fluids),
        oil_samples=load_oil_samples(connection, as_of, systems, codes),
        stops=load_stops(connection, codes),
        alternates=load_alternates(connection),
    )


def load_position_rows(connection: sa.Connection, systems: frozenset[str] | None) -> Sequence[Row]:
    """Positions in the order that every column over positions has."""
    query = within(sa.select(t.positions), t.positions.c.system, systems)
    return every(connection, query.order_by(t.positions.c.position))
