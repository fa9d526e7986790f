"""What happened to the systems besides changes of elements."""

from __future__ import annotations

from datetime import datetime, timedelta

from tests.flow.foreign_plant.clock import NOON, daylight, later, stamp
from tests.flow.foreign_plant.model import World
from tests.flow.foreign_plant.table import Row

NOTES = {
    "hose_burst": "return hose, press side; about a third of the tank lost",
    "opened": "tank lid off, cleaned by hand",
    "repair": "valve block resealed",
    "flushed": "flushed with the cart, 6 h",
    "oil_change": "drained, wiped, filled through the cart",
    "overheated": "cooler fan stood, 78 degC for two hours",
    "water_ingress": "cooler leak, milky at the sight glass",
}


def event_rows(world: World) -> list[Row]:
    """What happened to the systems."""
    rng = world.rng
    for system in world.systems:
        for kind in rng.sample(sorted(NOTES), 3):
            day = rng.choice(system.days)
            clock = NOON if kind in ("opened", "oil_change") else daylight(rng)
            world.happened(system, system.plant.at(day, clock), kind, note=NOTES[kind])
    plants = {s.code: s.plant for s in world.systems}
    rows: list[Row] = []
    for k, event in enumerate(sorted(world.events.values(), key=lambda e: (str(e["system"]), str(e["at"])))):
        at = event["at"]
        if not isinstance(at, datetime):
            raise TypeError(at)
        known = later(at, timedelta(days=1, hours=1), plants[str(event["system"])]) if k % 3 == 0 else None
        rows.append(
            event
            | {
                "at": stamp(at, "date" if at.time() == NOON else ("local", "offset")[k % 2]),
                "recorded_at": "" if known is None else stamp(known, "offset"),
            }
        )
    return rows
