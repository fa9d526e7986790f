"""A small invented plant as a folder of CSV tables, every date counted from a moment.

Two systems: a press with a return element that its ΔP makes due within the horizon, a suction strainer that is
cleaned and put back, and a breather near its age limit; a conveyor with a duplex housing and one position of which
nobody knows what is fitted. The store is small on purpose.
"""

import csv
import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

Cell = Any  # what is written as a cell: text or a number
Row = Mapping[str, Cell]
Tables = dict[str, list[dict[str, Cell]]]

NOW = datetime(2026, 3, 5, 9, 0, tzinfo=UTC)

HOURS_NOW = 8560.0
HOURS_PER_DAY = 8.0
RETURN_FITTED_D = 150.0

RETURN, STRAINER, BREATHER = "PRESS-RET", "PRESS-SUC", "PRESS-BR"
SIDE_A, SIDE_B, UNKNOWN = "CONV-DUP-A", "CONV-DUP-B", "CONV-PIL"


@dataclass(frozen=True)
class SmallPlant:
    """The tables at a moment; `with_rows` and `changed` make variants of them."""

    now: datetime = NOW
    tables: Tables = field(default_factory=dict)

    def at(self, days_ago: float) -> str:
        return moment(self.now, days_ago)

    def with_rows(self, table: str, *rows: Row) -> "SmallPlant":
        return SmallPlant(self.now, self.tables | {table: [*self.tables.get(table, []), *map(dict, rows)]})

    def changed(self, table: str, key: str, code: str, **values: Cell) -> "SmallPlant":
        """`values` set in every row of `table` whose `key` is `code`; `__` in a name stands for ' [' … ']'."""
        told = {_header(name): value for name, value in values.items()}
        rows = [row | told if row[key] == code else row for row in self.tables[table]]
        assert rows != self.tables[table], f"{table} has no {code} that this changes"
        return SmallPlant(self.now, self.tables | {table: rows})

    def without(self, table: str) -> "SmallPlant":
        return SmallPlant(self.now, {name: rows for name, rows in self.tables.items() if name != table})

    def zipped(self) -> bytes:
        """The folder as the API takes it."""
        kept = io.BytesIO()
        with zipfile.ZipFile(kept, "w") as archive:
            for name, rows in self.tables.items():
                archive.writestr(f"{name}.csv", _csv(rows))
        return kept.getvalue()


def moment(now: datetime, days_ago: float) -> str:
    return (now - timedelta(days=days_ago)).isoformat(timespec="seconds")


def _header(name: str) -> str:
    quantity, _, unit = name.partition("__")
    return f"{quantity} [{unit}]" if unit else name


def _csv(rows: Sequence[Row]) -> str:
    headers = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO(newline="")
    out = csv.DictWriter(text, headers, restval="")
    out.writeheader()
    out.writerows(rows)
    return text.getvalue()


def shown_hours(days_ago: float) -> float:
    """What the press's meter showed: 8 h a day."""
    return HOURS_NOW - HOURS_PER_DAY * days_ago


def small_plant(now: datetime = NOW) -> SmallPlant:
    """The plant as it stands at `now`."""
    plant = SmallPlant(now)
    for build in (_master_data, _catalogue, _positions, _lives, _readings, _store):
        plant = SmallPlant(now, plant.tables | build(now))
    return plant


def _master_data(_now: datetime) -> Tables:
    oil: dict[str, Cell] = {"viscosity_40 [mm2/s]": 46, "viscosity_100 [mm2/s]": 6.8, "density_15 [kg/m3]": 870}
    thick: dict[str, Cell] = {"viscosity_40 [mm2/s]": 68, "viscosity_100 [mm2/s]": 8.7, "density_15 [kg/m3]": 875}
    system: dict[str, Cell] = {"plant": "MILL", "fluid": "OIL-46", "hours_per_week": 70}
    return {
        "plants": [{"plant": "MILL", "time_zone": "Europe/Oslo", "currency": "EUR", "risk": 0.1, "horizon [d]": 42}],
        "fluids": [
            {"fluid": "OIL-46", "family": "HM", "grade": 46, **oil},
            {"fluid": "OIL-68", "family": "HM", "grade": 68, **thick},
        ],
        "systems": [
            {
                "system": "PRESS",
                **system,
                "reservoir_volume [L]": 400,
                "pump_flow [L/min]": 180,
                "working_pressure [bar]": 210,
                "working_temperature [degC]": 50,
                "hazards": "accumulator",
                "isolation_procedure": "ISO-17",
            },
            {"system": "CONV", **system, "reservoir_volume [L]": 120, "working_temperature [degC]": 45},
        ],
        "meters": [{"system": "PRESS", "digits": 5}, {"system": "CONV", "digits": 4}],
    }


def _catalogue(_now: datetime) -> Tables:
    rated: dict[str, Cell] = {"clean_dp [bar]": 0.4, "rated_flow [L/min]": 180, "rated_viscosity [mm2/s]": 30}
    element: dict[str, Cell] = {"kind": "element", "seal_kit": "SK-1", **rated}
    return {
        "parts": [
            {"part_number": "SK-1", "kind": "seal_kit"},
            {"part_number": "GK-1", "kind": "gasket"},
            {"part_number": "TRAY", "kind": "consumable"},
        ],
        "element_types": [
            {"part_number": "EL-10", **element, "seals": "NBR"},
            {"part_number": "EL-10-FKM", **element, "seals": "FKM"},
            {"part_number": "EL-10-EPDM", **element, "seals": "EPDM"},
            {"part_number": "EL-25", **element, "seals": "NBR"},
            {"part_number": "STR-1", "kind": "strainer", "cleanable": "yes", "max_cleanings": 10, "seal_kit": "GK-1"},
            {"part_number": "BR-1", "kind": "breather"},
        ],
        "alternates": [
            {"part_number": "EL-10", "alternate": "EL-10-FKM", "rank": 1},
            {"part_number": "EL-10", "alternate": "EL-10-EPDM", "rank": 2},
        ],
    }


def _positions(_now: datetime) -> Tables:
    housing: dict[str, Cell] = {
        "flow [L/min]": 180,
        "terminal_dp [bar]": 2.5,
        "bypass": "yes",
        "bypass_dp [bar]": 3.5,
        "housing_dp [bar]": 0.2,
    }
    return {
        "positions": [
            {"position": RETURN, "system": "PRESS", "place": "return", "part_number": "EL-10", **housing},
            {
                "position": STRAINER,
                "system": "PRESS",
                "place": "suction",
                "part_number": "STR-1",
                "max_hours [h]": 1000,
                "access": "drained",
            },
            {
                "position": BREATHER,
                "system": "PRESS",
                "place": "breather",
                "part_number": "BR-1",
                "max_age [d]": 365,
                "access": "running",
            },
            *(
                {
                    "position": code,
                    "system": "CONV",
                    "place": "pressure",
                    "part_number": "EL-10",
                    "housing": "CONV-DUP",
                    "side": side,
                    "max_hours [h]": 2000,
                    **housing,
                }
                for code, side in ((SIDE_A, "A"), (SIDE_B, "B"))
            ),
            {"position": UNKNOWN, "system": "CONV", "place": "pilot", "part_number": "EL-25"},
        ],
        "kit_lines": [{"position": RETURN, "part_number": "TRAY", "quantity": 2}],
    }


def _lives(now: datetime) -> Tables:
    def life(position: str, part: str, days_ago: float, **more: Cell) -> dict[str, Cell]:
        return {"position": position, "part_number": part, "fitted_at": moment(now, days_ago), **more}

    ended: dict[str, Cell] = {"removed_at": moment(now, RETURN_FITTED_D), "reason": "due"}
    return {
        "installations": [
            life(RETURN, "EL-10", 330, **ended),
            life(RETURN, "EL-10", RETURN_FITTED_D, lot="L-OLD") | {"fitted_hours [h]": shown_hours(RETURN_FITTED_D)},
            life(STRAINER, "STR-1", 120, lot="S-7", serial="0042", cleanings=3),
            life(BREATHER, "BR-1", 345),
            life(SIDE_A, "EL-10", 60),
            life(SIDE_B, "EL-10", 60),
        ],
        "events": [
            {"system": "CONV", "at": moment(now, 50), "kind": "changeover", "position": SIDE_A},
        ],
    }


def _readings(now: datetime) -> Tables:
    weekly = [*range(364, 0, -7), 1]
    rising: list[tuple[float, float]] = [(140, 0.5), (120, 0.55), (100, 0.62), (80, 0.72), (60, 0.85)]
    rising += [(45, 1.0), (30, 1.15), (20, 1.28), (10, 1.45), (3, 1.55)]
    return {
        "meter_readings": [
            *(
                {"system": "PRESS", "at": moment(now, day), "hours [h]": shown_hours(day)}
                for day in (float(day) for day in weekly)
            ),
            *(
                {"system": "CONV", "at": moment(now, float(day)), "hours [h]": 3000 + 6.0 * (56 - day)}
                for day in range(56, 0, -7)
            ),
        ],
        "dp_readings": [
            {
                "position": RETURN,
                "at": moment(now, day),
                "dp [bar]": dp,
                "flow [L/min]": 180,
                "oil_temperature [degC]": 50,
            }
            for day, dp in rising
        ],
    }


def _store(now: datetime) -> Tables:
    counted: dict[str, Cell] = {"store": "MAIN", "counted_at": moment(now, 10)}
    later = (now + timedelta(days=400)).date().isoformat()
    latest = (now + timedelta(days=900)).date().isoformat()
    return {
        "stock": [
            {"part_number": "EL-10", "lot": "L-1", "on_hand": 1, "bin": "A1", "expires_at": later, **counted},
            {"part_number": "EL-10", "lot": "L-2", "on_hand": 3, "bin": "A1", "expires_at": latest, **counted},
            {"part_number": "EL-25", "lot": "X-1", "on_hand": 1, **counted},
            {"part_number": "SK-1", "lot": "K-1", "on_hand": 2, **counted},
            {"part_number": "GK-1", "on_hand": 4, **counted},
            {"part_number": "TRAY", "on_hand": 5, **counted},
        ],
        "oil_stock": [
            {"fluid": "OIL-46", "lot": "D-1", "container [L]": 208, "on_hand": 0.5, "opened_at": moment(now, 40)}
            | counted,
            {"fluid": "OIL-46", "lot": "D-2", "container [L]": 20, "on_hand": 2, **counted},
        ],
        "supply": [
            {
                "order": "PO-9",
                "line": "1",
                "part_number": "BR-1",
                "quantity": 1,
                "expected_at": moment(now, -8),
                "recorded_at": moment(now, 2),
            }
        ],
        "stops": [
            {
                "plant": "MILL",
                "starts_at": moment(now, -10),
                "ends_at": moment(now, -10.5),
                "note": "shift change",
            }
        ],
    }
