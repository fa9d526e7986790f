"""Writes the demo plant as a plant folder, so that it comes in by the ordinary import."""

import csv
from datetime import date, datetime
from pathlib import Path

from scheduler.vocabulary import CANONICAL_UNIT
from service.demo import catalogue, logbook, positions, shifts, stores, systems
from service.demo.history import history_tables
from service.demo.records import Row, Tables
from service.plant_folder.layout import COMMON_COLUMNS, RECORDED_AT, TABLES, Column, Quantity, TableLayout


def write_demo_folder(target: Path, today: date, seed: int = 20) -> None:
    """One CSV file a table in `target`, the same bytes for the same `today` and `seed`.

    Nothing has happened on `today` or later; only stops, expected supply and expiry dates lie ahead.
    """
    target.mkdir(parents=True, exist_ok=True)
    tables = demo_tables(today, seed)
    for layout in TABLES:
        _write_table(target / f"{layout.name}.csv", layout, tables[layout.name])


def demo_tables(today: date, seed: int = 20) -> Tables:
    """Every table of the plant folder, values in the canonical units."""
    timeline = shifts.Timeline(today)
    history = history_tables(timeline, seed)
    return {
        "plants": systems.plant_rows(),
        "fluids": catalogue.fluid_rows(),
        "systems": systems.system_rows(),
        "meters": systems.meter_rows(),
        "parts": catalogue.part_rows(),
        "element_types": catalogue.element_type_rows(),
        "element_curves": catalogue.curve_rows(),
        "positions": positions.position_rows(),
        "kit_lines": stores.kit_line_rows(),
        "alternates": catalogue.alternate_rows(),
        "installations": history["installations"],
        "meter_readings": history["meter_readings"],
        "dp_readings": history["dp_readings"],
        "oil_samples": logbook.oil_sample_rows(timeline, seed),
        "events": [*history["events"], *logbook.event_rows(timeline)],
        "findings": history["findings"],
        "level_checks": logbook.level_check_rows(timeline, seed),
        "top_ups": logbook.top_up_rows(timeline, seed),
        "stock": stores.stock_rows(timeline),
        "oil_stock": stores.oil_stock_rows(timeline),
        "supply": stores.supply_rows(timeline),
        "stops": shifts.stop_rows(timeline),
    }


def _write_table(path: Path, layout: TableLayout, rows: list[Row]) -> None:
    known = (*layout.columns, *COMMON_COLUMNS, *((RECORDED_AT,) if layout.is_fact else ()))
    filled = {name for row in rows for name, value in row.items() if value is not None}
    unknown = filled - {column.name for column in known}
    if unknown:
        raise ValueError(f"{layout.name} has no column {', '.join(sorted(unknown))}")
    written = [column for column in known if column.name in filled or column.required or column.key]
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow([_header(column) for column in written])
        out.writerows([_cell(row.get(column.name)) for column in written] for row in rows)


def _header(column: Column) -> str:
    if isinstance(column.cell, Quantity):
        return f"{column.name} [{CANONICAL_UNIT[column.cell.kind]}]"
    return column.name


def _cell(value: str | int | float | date | datetime | None) -> str:
    match value:
        case None:
            return ""
        case datetime():
            return value.isoformat(timespec="minutes")
        case date():
            return value.isoformat()
        case float():
            return f"{value:.6f}".rstrip("0").rstrip(".")
        case _:
            return str(value)
