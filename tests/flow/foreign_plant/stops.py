"""When plants and systems stand still, past and planned."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from tests.flow.foreign_plant.clock import stamp
from tests.flow.foreign_plant.model import World
from tests.flow.foreign_plant.table import Row


def stop_rows(world: World) -> list[Row]:
    """Stops of a whole plant and of single systems, past and planned."""
    rows: list[Row] = []

    def stop(start: datetime, end: datetime, note: str, *, plant: str = "", system: str = "") -> None:
        style = "offset" if system else "local"
        rows.append(
            {
                "plant": plant,
                "system": system,
                "starts_at": stamp(start, style),
                "ends_at": stamp(end, style),
                "note": note,
            }
        )

    for plant in world.plants:
        for year in range(world.today.year - 2, world.today.year + 1):
            stop(
                plant.at(date(year, 8, 4), time(6, 0)),
                plant.at(date(year, 8, 12), time(22, 0)),
                "summer stop, all lines",
                plant=plant.code,
            )
            stop(
                plant.at(date(year, 12, 24), time(6, 0)),
                plant.at(date(year, 12, 31), time(22, 0)),
                "year's end",
                plant=plant.code,
            )
        day = world.today + timedelta(days=18)
        stop(
            plant.at(day, time(6, 0)),
            plant.at(day + timedelta(days=1), time(18, 0)),
            "power company, mains off",
            plant=plant.code,
        )
    for system in world.systems[::3]:
        for ahead in (-60, 7 + system.number, 40 + system.number):
            day = world.today + timedelta(days=ahead)
            stop(
                system.plant.at(day, time(7, 0)),
                system.plant.at(day, time(15, 0)),
                "service shift",
                system=system.code,
            )
    return rows
