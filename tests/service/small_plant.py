"""A small invented plant: two systems with three return elements each, all of it in the past."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

PLANT = "HARBOUR"
SYSTEMS = ("LINE1", "LINE2")
POSITIONS = tuple(f"{system}-R{number}" for system in SYSTEMS for number in (1, 2, 3))
ELEMENT, LOT, STORE, ON_HAND = "E-10", "L-7", "MAIN", 5000

FITTED = datetime(2025, 1, 10, 8, tzinfo=UTC)
LAST_READING = datetime(2025, 3, 1, 8, tzinfo=UTC)
LAST_HOURS = 800.0  # of about 1,200 h that passed since the fitting

TABLES = {
    "plants": f"plant,time_zone,currency\n{PLANT},Europe/Oslo,NOK\n",
    "fluids": "fluid,grade\nHM46,46\n",
    "systems": "system,plant,fluid,reservoir_volume [L],hours_per_week\n"
    + "".join(f"{system},{PLANT},HM46,400,110\n" for system in SYSTEMS),
    "element_types": f"part_number,kind\n{ELEMENT},element\n",
    "positions": "position,system,place,part_number,max_hours [h]\n"
    + "".join(f"{position},{position[:5]},return,{ELEMENT},1000\n" for position in POSITIONS),
    "installations": "position,fitted_at,part_number,fitted_hours [h]\n"
    + "".join(f"{position},{FITTED.isoformat()},{ELEMENT},0\n" for position in POSITIONS),
    "meter_readings": "system,at,hours [h]\n"
    + "".join(
        f"{system},{FITTED.isoformat()},0\n{system},{LAST_READING.isoformat()},{LAST_HOURS}\n" for system in SYSTEMS
    ),
    "stock": f"part_number,store,lot,on_hand,counted_at\n{ELEMENT},{STORE},{LOT},{ON_HAND},{FITTED.isoformat()}\n",
}


def write_small_plant(at: Path) -> Path:
    """The plant as a folder."""
    at.mkdir(parents=True, exist_ok=True)
    for name, text in TABLES.items():
        (at / f"{name}.csv").write_text(text, encoding="utf-8")
    return at


def close_out(position: str, number: int) -> dict[str, object]:
    """The `number`th change (from 1) at this position's system: each an hour after the one before, half of it run."""
    return {
        "position": position,
        "at": (LAST_READING + timedelta(hours=number)).isoformat(),
        "hours": LAST_HOURS + number / 2,
        "element": {"part_number": ELEMENT, "lot": LOT, "store": STORE},
        "note": f"change {number} at {position}",
    }
