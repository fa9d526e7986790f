"""Oil samples, level checks and oil poured in."""

from __future__ import annotations

from datetime import time, timedelta

from tests.flow.foreign_plant.clock import NOON, later, stamp, system_times
from tests.flow.foreign_plant.conversions import LITRES
from tests.flow.foreign_plant.model import World
from tests.flow.foreign_plant.table import Row

SAMPLE_COLUMNS = (
    "system",
    "at",
    "point",
    "position",
    "code",
    "count_4 [1/mL]",
    "count_6 [1/mL]",
    "count_14 [1/mL]",
    "water [ppm]",
    "water_saturation [%]",
    "viscosity_40 [mm2/s]",
    "recorded_at",
)


def sample_rows(world: World) -> list[Row]:
    """Oil samples: codes, broken codes, counts."""
    rng = world.rng
    rows: list[Row] = []
    for system in world.systems:
        own = [p.code for p in world.positions if p.system is system and p.place in ("return", "offline")]
        for k, at in enumerate(system_times(system, 91, time(10, 30))):
            codes = [int(c) + rng.choice((-1, 0, 0, 1)) for c in system.target.split("/")]
            codes = [codes[0], min(codes[1], codes[0] - 1), min(codes[2], codes[1] - 2)]
            row: Row = {
                "system": system.code,
                "at": stamp(at, "offset" if k % 3 else "local"),
                "point": "reservoir" if k % 4 else "",
                "code": "/".join(str(c) for c in codes),
                "water [ppm]": rng.randint(40, 260) if k % 2 else "",
                "water_saturation [%]": f"{rng.uniform(8, 45):.0f}" if k % 3 == 1 else "",
                "viscosity_40 [mm2/s]": f"{system.fluid.v40 * rng.uniform(0.95, 1.03):.1f}",
            }
            if k % 5 == 1:
                row["code"] = f"-/{codes[1]}/{codes[2]}"
            elif k % 5 == 2:
                row["code"] = "≥" + str(row["code"])
            elif k % 5 == 3:
                row["code"] = ""
                for size, code in zip(("4", "6", "14"), codes, strict=True):
                    row[f"count_{size} [1/mL]"] = f"{0.75 * 2.0**code / 100:.4g}"
            if own and k % 4 == 2:
                row["point"], row["position"] = ("upstream", "downstream")[k % 8 == 2], own[0]
            known = later(at, timedelta(days=rng.randint(4, 11), hours=4), system.plant)
            row["recorded_at"] = "" if known is None else stamp(known, "local")
            rows.append(row)
    return rows


def level_rows(world: World) -> list[Row]:
    """Oil level checks: some in percent, some as the volume below full."""
    rng = world.rng
    rows: list[Row] = []
    for system in world.systems:
        for k, at in enumerate(system_times(system, 30, NOON if system.number % 2 else time(6, 40))):
            row: Row = {
                "system": system.code,
                "at": stamp(at, "date" if system.number % 2 else "local"),
                "at_rest": "no" if k % 7 == 3 else "yes",
                "defined_position": "no" if k % 11 == 5 else "yes",
            }
            fall = rng.uniform(0.0, 0.12)
            if system.plant is world.plants[0]:
                row["level [%]"] = f"{100 * (1 - fall):.0f}"
            else:
                row["volume_below_full [gal]"] = f"{fall * system.reservoir / LITRES:.1f}"
            rows.append(row)
    return rows


def top_up_rows(world: World) -> list[Row]:
    """Oil poured in."""
    rng = world.rng
    rows: list[Row] = []
    for system in world.systems:
        for k, at in enumerate(system_times(system, rng.randint(45, 120), time(15, 20))):
            volume = max(0.5, rng.gauss(0.04, 0.015) * system.reservoir / LITRES)
            rows.append(
                {
                    "system": system.code,
                    "at": stamp(at, ("local", "offset", "utc")[k % 3]),
                    "fluid": system.fluid.code,
                    "volume [gal]": f"{volume:.1f}",
                    "through_filter": ("yes", "yes", "no", "")[k % 4],
                    "lot": f"B{at:%y}{rng.randint(10, 60)}" if k % 2 else "",
                    "x_note": "from the cart, 3 um" if k % 4 == 0 else "",
                }
            )
    return rows
