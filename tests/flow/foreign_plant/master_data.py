"""What the plants say of themselves, their systems, meters and positions."""

from __future__ import annotations

from tests.flow.foreign_plant.conversions import LITRES, PSI
from tests.flow.foreign_plant.model import World
from tests.flow.foreign_plant.systems_and_positions import LIMITS
from tests.flow.foreign_plant.table import Row

SENSITIVE = ("piston_pump", "proportional_valve", "servo_valve", "gear_pump", "")
HAZARDS = ("accumulator", "accumulator, suspended_load", "", "tank_heater, confined_space", "work_at_height")


def plant_rows(world: World) -> list[Row]:
    """The two plants."""
    first, second = world.plants
    return [
        {
            "plant": first.code,
            "name": first.name,
            "time_zone": first.zone_name,
            "currency": "EUR",
            "display_units": "metric",
            "altitude [m]": 310,
            "risk": 0.1,
        },
        {
            "plant": second.code,
            "name": second.name,
            "time_zone": second.zone_name,
            "currency": "USD",
            "display_units": "us",
            "altitude [m]": "",
            "risk": 0.05,
            "horizon [d]": 60,
        },
    ]


def system_rows(world: World) -> list[Row]:
    """The systems: in service, and one retired and one laid up."""
    rows: list[Row] = []
    for s in world.systems:
        n = s.number
        rows.append(
            {
                "system": s.code,
                "plant": s.plant.code,
                "name": ("Press, deep draw", "Baler", "Shear", "Lift table, twin", "Test rig")[n % 5] + f" {n + 1}",
                "status": "in_service",
                "fluid": s.fluid.code,
                "reservoir_volume [gal]": f"{s.reservoir / LITRES:.1f}",
                "pump_flow [gpm]": f"{s.pump_flow / LITRES:.2f}",
                "working_pressure [psi]": f"{s.pressure * PSI:.0f}",
                "working_temperature [degF]": f"{s.warm * 1.8 + 32:.0f}",
                "coldest_start [degF]": (41, 50, "", 14, 59)[n % 5],
                "cleanliness_target": s.target if n % 6 else "",
                "most_sensitive": SENSITIVE[n % 5],
                "hours_per_week": f"{s.weekly:.0f}" if n % 4 else "",
                "stop_cost": (1200, "", 450)[n % 3],
                "labour_cost": 62 if n % 2 else "",
                "hazards": HAZARDS[n % 5],
                "isolation_procedure": f"IP-{100 + n}",
                "external_ref": f"asset:{70_000 + 13 * n}",
                "x_hall": "north, bay 3" if n % 3 == 0 else "",
            }
        )
    spare = {"plant": "BRN", "fluid": "OEL-46", "reservoir_volume [gal]": "42.3"}
    return [
        *rows,
        {"system": "BRN-91", "name": "Old shear, scrapped", "status": "retired", **spare},
        {"system": "BRN-92", "name": "Spare power unit", "status": "laid_up", **spare},
    ]


def meter_list_rows(world: World) -> list[Row]:
    """The meters that have a name."""
    rows: list[Row] = []
    for system in world.systems:
        for meter in (system.main, system.kidney):
            if meter is not None and meter.name:
                rows.append({"system": system.code, "meter": meter.name, "digits": meter.digits})
    return rows


def kilopascal(bar: float | None) -> object:
    """A pressure difference as the position list has it."""
    return "" if bar is None else f"{bar * 100:g}"


def blank(value: object | None) -> object:
    """An empty cell for what is not known."""
    return "" if value is None else value


def position_rows(world: World) -> list[Row]:
    """The positions in service, then two that are not."""
    rows: list[Row] = []
    for k, p in enumerate(world.positions):
        breathing = p.place in ("breather", "filler")
        rows.append(
            {
                "position": p.code,
                "system": p.system.code,
                "place": p.place,
                "part_number": p.part.number,
                "quantity": p.quantity if p.quantity > 1 or k % 2 else "",
                "housing": p.housing,
                "side": p.side,
                "meter": p.meter.name,
                "flow [L/min]": "" if breathing else f"{p.flow:g}",
                "terminal_dp [kPa]": kilopascal(p.terminal),
                "indicator_dp [kPa]": kilopascal(p.indicator),
                "indicator_kind": p.indicator_kind,
                "bypass": "yes" if p.bypass else ("no" if p.place in LIMITS else ("unknown", "")[k % 2]),
                "bypass_dp [kPa]": kilopascal(p.bypass),
                "vacuum_limit [inHg]": 6 if p.place == "suction" else "",
                "inlet_head [m]": blank(p.head),
                "shut_at_start": "yes" if p.bypass and p.place == "pressure" else "",
                "max_hours [h]": blank(p.max_hours),
                "max_age [month]": blank(p.max_months),
                "access": "running" if breathing else ("stopped", "drained", "")[k % 3],
                "housing_volume [L]": "" if breathing else (1.5, 4, 0.8)[k % 3],
                "torque [N*m]": 40 if p.place == "pressure" else "",
                "status": "in_service",
                "x_where": "behind the guard, left" if k % 10 == 0 else "",
            }
        )
    return [
        *rows,
        {
            "position": "BRN-91.RE1",
            "system": "BRN-91",
            "place": "return",
            "part_number": "LB-RT25-400",
            "status": "retired",
        },
        {
            "position": "BRN-92.RE1",
            "system": "BRN-92",
            "place": "return",
            "part_number": "LB-RT10-400",
            "status": "laid_up",
        },
    ]


def kit_rows(world: World) -> list[Row]:
    """What a change takes besides the element."""
    rows: list[Row] = []
    for k, p in enumerate(world.positions):
        if p.part.seal_kit:
            typed = p.code + (" " if k % 10 == 0 else "")  # codes are trimmed
            rows.append({"position": typed, "part_number": p.part.seal_kit, "quantity": p.quantity})
        if k % 3 == 0:
            rows.append({"position": p.code, "part_number": "WIPE-LF", "quantity": 1})
    return rows
