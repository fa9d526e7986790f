"""What lies in the stores and what is on order."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import time, timedelta

from tests.flow.foreign_plant.catalogue import FLUIDS, PARTS, SPARES
from tests.flow.foreign_plant.clock import stamp
from tests.flow.foreign_plant.model import World
from tests.flow.foreign_plant.table import Row


def stock_rows(world: World) -> list[Row]:
    """Counted stock: lots, expiry, two stores."""
    rng, today = world.rng, world.today
    goods = [(p.number, p.shelf) for p in PARTS] + [(s[0], s[6]) for s in SPARES]
    rows: list[Row] = []
    for k, (number, shelf) in enumerate(goods):
        for lot in range(k % 3 + 1):
            day = today - timedelta(days=rng.randint(5, 40))
            home = (k + lot) % 3 != 0
            plant = world.plants[0] if home else world.plants[1]
            expires = today + timedelta(days=rng.randint(-40, shelf)) if shelf else None
            rows.append(
                {
                    "part_number": number,
                    "store": "Hall store" if home else "Yard crib",
                    "lot": f"L{k:02d}{lot}" if lot or k % 2 else "",
                    "on_hand": rng.randint(0, 9),
                    "counted_at": day.isoformat() if home else stamp(plant.at(day, time(15, 0)), "offset"),
                    "bin": f"{'ABC'[k % 3]}{k}" if k % 4 else "",
                    "expires_at": "" if expires is None else expires.isoformat(),
                }
            )
    return rows


def oil_stock_rows(world: World) -> list[Row]:
    """Drums and cans."""
    rows: list[Row] = []
    for k, fluid in enumerate(FLUIDS):
        for size, count in ((205, k), (20, 6 - k)):
            day = world.today - timedelta(days=9 + k)
            opened = world.today - timedelta(days=60 + k)
            rows.append(
                {
                    "fluid": fluid.code,
                    "store": "Oil room",
                    "lot": f"D{k}{size}",
                    "container [L]": size,
                    "on_hand": count,
                    "counted_at": stamp(world.plants[0].at(day, time(9, 0)), "offset"),
                    "opened_at": opened.isoformat() if size == 205 and k == 1 else "",
                    "expires_at": (world.today + timedelta(days=700 - 90 * k)).isoformat(),
                }
            )
    return rows


def supply_rows(world: World) -> list[Row]:
    """Orders: one has come, three are on their way."""
    lines: Iterable[tuple[str, str, str, str, int, int, int | None]] = (
        ("B-3301", "1", "LB-RT10-400", "", 6, -20, -17),
        ("B-3307", "1", "LB-PX05-160", "", 4, 12, None),
        ("B-3307", "2", "LB-SK-PX", "", 10, 12, None),
        ("B-3310", "1", "", "OEL-46", 2, 5, None),
    )
    return [
        {
            "order": order,
            "line": line,
            "part_number": part,
            "fluid": fluid,
            "quantity": quantity,
            "expected_at": (world.today + timedelta(days=expected)).isoformat(),
            "received_at": "" if got is None else (world.today + timedelta(days=got)).isoformat(),
        }
        for order, line, part, fluid, quantity, expected, got in lines
    ]
