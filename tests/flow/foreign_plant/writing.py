"""The whole folder, table by table."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from tests.flow.foreign_plant.catalogue import ALTERNATES, catalogue_rows, curve_rows, fluid_rows, spare_rows
from tests.flow.foreign_plant.dp_readings import DP_COLUMNS, dp_rows
from tests.flow.foreign_plant.events import event_rows
from tests.flow.foreign_plant.history import make_world
from tests.flow.foreign_plant.lives import installation_rows
from tests.flow.foreign_plant.master_data import (
    kit_rows,
    meter_list_rows,
    plant_rows,
    position_rows,
    system_rows,
)
from tests.flow.foreign_plant.meter_readings import meter_rows
from tests.flow.foreign_plant.oil import SAMPLE_COLUMNS, level_rows, sample_rows, top_up_rows
from tests.flow.foreign_plant.stock import oil_stock_rows, stock_rows, supply_rows
from tests.flow.foreign_plant.stops import stop_rows
from tests.flow.foreign_plant.systems_and_positions import PLACES
from tests.flow.foreign_plant.table import write_table


def write_folder(
    target: Path, *, today: date, positions: int = 120, dp_readings: int = 20_000, seed: int = 7
) -> None:
    """Writes the whole plant folder.

    The same arguments give the same bytes. No fact is dated after `today`; what is planned (stops, expected
    deliveries, expiry dates) may be. `positions` counts the positions in service (at least ten, one for each
    place); two more are written that are not in service.
    """
    if positions < len(PLACES) or dp_readings < 0:
        raise ValueError(f"at least {len(PLACES)} positions and no negative number of readings, please")
    world = make_world(today, positions, seed)
    target.mkdir(parents=True, exist_ok=True)
    write_table(target, "plants", plant_rows(world))
    write_table(target, "fluids", fluid_rows())
    write_table(target, "systems", system_rows(world))
    write_table(target, "meters", meter_list_rows(world))
    write_table(target, "element_types", catalogue_rows())
    write_table(target, "element_curves", curve_rows())
    write_table(target, "parts", spare_rows())
    write_table(target, "positions", position_rows(world))
    write_table(target, "kit_lines", kit_rows(world))
    write_table(
        target,
        "alternates",
        [{"part_number": k, "alternate": a, "rank": r, "note": n} for k, (a, r, n) in ALTERNATES.items()],
    )
    write_table(target, "installations", installation_rows(world))
    write_table(target, "meter_readings", meter_rows(world))
    write_table(target, "dp_readings", dp_rows(world, dp_readings), DP_COLUMNS)
    write_table(target, "oil_samples", sample_rows(world), SAMPLE_COLUMNS)
    write_table(target, "events", event_rows(world))
    write_table(target, "level_checks", level_rows(world))
    write_table(target, "top_ups", top_up_rows(world))
    write_table(target, "stock", stock_rows(world))
    write_table(target, "oil_stock", oil_stock_rows(world))
    write_table(target, "supply", supply_rows(world))
    write_table(target, "stops", stop_rows(world))
