"""Both plants with everything that happened in them, from one seed."""

from __future__ import annotations

import random
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from tests.flow.foreign_plant.lives import live, live_duplex
from tests.flow.foreign_plant.model import Plant, World
from tests.flow.foreign_plant.systems_and_positions import DUPLEX, SYSTEMS, make_position, make_system


def make_world(today: date, count: int, seed: int) -> World:
    """Both plants with all that happened in them."""
    last = today - timedelta(days=2)  # over everywhere on earth, so that no fact is ever in the future
    metric, us = "Europe/Vienna", "America/Chicago"
    world = World(
        today,
        random.Random(seed),  # noqa: S311 - invented data, not a secret
        (
            Plant("BRN", "Brannet pressing hall, line 1 and 2", ZoneInfo(metric), metric, last),
            Plant("DMY", "Dunmarrow baling yard", ZoneInfo(us), us, last),
        ),
    )
    world.systems = [make_system(world, n) for n in range(SYSTEMS)]
    for index in range(count):
        world.positions.append(make_position(world, index, count))
    twins = [p for p in world.positions if p.system.number == DUPLEX and p.place == "return"][:2]
    if len(twins) == 2:
        live_duplex(world, *twins)
    for position in world.positions:
        if not position.lives:
            live(world, position)
    return world
