"""What was read off the hour meters."""

from __future__ import annotations

from datetime import time

from tests.flow.foreign_plant.clock import NOON, stamp, system_times
from tests.flow.foreign_plant.model import System, World
from tests.flow.foreign_plant.run_hours import Meter
from tests.flow.foreign_plant.systems_and_positions import TYPING_ERROR
from tests.flow.foreign_plant.table import Row


def meter_rows(world: World) -> list[Row]:
    """Daily, weekly or monthly meter readings."""
    rows: list[Row] = []
    for system in world.systems:
        for meter in [system.main] + ([system.kidney] if system.kidney is not None else []):
            style = ("local", "date", "offset", "utc")[system.number % 4]
            clock = NOON if style == "date" else time(6, 15)
            times = system_times(system, system.rhythm, clock)
            for k, at in enumerate(times):
                hours = meter.shows(at)
                if system.number == TYPING_ERROR and k == len(times) // 2:
                    hours += 9000.0  # a wrong digit; the next reading is right again
                kind = "reading" if k % 2 else ""
                rows.append(meter_row(system, meter, stamp(at, style), kind, hours))
            if meter.swapped is not None:
                at_text = stamp(meter.swapped, "offset")
                last, first = meter.shows(meter.swapped, old_dial=True), meter.shows(meter.swapped)
                rows.append(meter_row(system, meter, at_text, "last", last))
                rows.append(meter_row(system, meter, at_text, "first", first))
    return rows


def meter_row(system: System, meter: Meter, at: str, kind: str, hours: float) -> Row:
    """One row of meter_readings."""
    return {"system": system.code, "meter": meter.name, "at": at, "kind": kind, "hours [h]": f"{hours:.1f}"}
