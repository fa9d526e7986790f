"""Twenty invented presses with one return element each, so that every client has a machine of its own."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

CLIENTS = 20
PLANT, FLUID = "QUAY", "HM46"
SYSTEMS = tuple(f"PRESS{number:02d}" for number in range(CLIENTS))
ELEMENT, LOT, STORE, ON_HAND = "E-10", "L-7", "MAIN", 100_000

FITTED = datetime(2025, 1, 10, 8, tzinfo=UTC)
LAST_READING = datetime(2025, 3, 1, 8, tzinfo=UTC)
LAST_HOURS = 800.0

_TABLES = {
    "plants": f"plant,time_zone,currency\n{PLANT},Europe/Oslo,NOK\n",
    "fluids": f"fluid,grade\n{FLUID},46\n",
    "systems": "system,plant,fluid,reservoir_volume [L],hours_per_week\n"
    + "".join(f"{system},{PLANT},{FLUID},400,110\n" for system in SYSTEMS),
    "element_types": f"part_number,kind\n{ELEMENT},element\n",
    "positions": "position,system,place,part_number,max_hours [h]\n"
    + "".join(f"{system}-R,{system},return,{ELEMENT},1000\n" for system in SYSTEMS),
    "installations": "position,fitted_at,part_number,fitted_hours [h]\n"
    + "".join(f"{system}-R,{FITTED.isoformat()},{ELEMENT},0\n" for system in SYSTEMS),
    "meter_readings": "system,at,hours [h]\n"
    + "".join(
        f"{system},{FITTED.isoformat()},0\n{system},{LAST_READING.isoformat()},{LAST_HOURS}\n" for system in SYSTEMS
    ),
    "stock": f"part_number,store,lot,on_hand,counted_at\n{ELEMENT},{STORE},{LOT},{ON_HAND},{FITTED.isoformat()}\n",
}


def write_quay(at: Path) -> Path:
    """The plant as a folder."""
    at.mkdir(parents=True, exist_ok=True)
    for name, text in _TABLES.items():
        (at / f"{name}.csv").write_text(text, encoding="utf-8")
    return at


def moment(number: int) -> str:
    """Of a client's `number`th act (from 1): each a quarter of an hour after the one before."""
    return (LAST_READING + timedelta(minutes=15 * number)).isoformat()


def hours(number: int) -> float:
    """What the meter shows then; half of the time was run."""
    return LAST_HOURS + number / 8


def close_out(system: str, number: int) -> dict[str, Any]:
    """The change that is this system's `number`th act."""
    return {
        "position": f"{system}-R",
        "at": moment(number),
        "hours": hours(number),
        "element": {"part_number": ELEMENT, "lot": LOT, "store": STORE},
        "note": f"act {number} at {system}",
    }


def meter_rows(system: str, number: int, count: int) -> dict[str, Any]:
    """The acts `number`, `number` + 1 … as a bulk body of `count` readings."""
    numbers = range(number, number + count)
    return {
        "units": {"hours": "h"},
        "rows": [{"system": system, "at": moment(n), "hours": hours(n)} for n in numbers],
    }
