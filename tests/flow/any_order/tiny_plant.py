"""Two systems with two positions each, and a store of a few pieces: small, so that a step takes milliseconds.

A return element that its ΔP makes due, a suction strainer that is cleaned and put back, a pressure element that
only its hours bring, and a breather that ages.
"""

from datetime import datetime, timedelta

from tests.flow.small_folder import Cell, SmallPlant, Tables, moment

RETURN, STRAINER, PRESSURE, BREATHER = "PRESS-RET", "PRESS-SUC", "CONV-PR", "CONV-BR"
SYSTEM_OF = {RETURN: "PRESS", STRAINER: "PRESS", PRESSURE: "CONV", BREATHER: "CONV"}
SPECIFIED = {RETURN: "EL-10", STRAINER: "STR-1", PRESSURE: "EL-10", BREATHER: "BR-1"}
WRONG = {RETURN: "EL-25", STRAINER: "EL-25", PRESSURE: "EL-25", BREATHER: "BR-9"}

RUNS_H_PER_DAY = {"PRESS": 8.0, "CONV": 6.0}
_SHOWED_AT_FIRST_H = {"PRESS": 8560.0, "CONV": 3300.0}
LOTS = {"EL-10": ("L-1", "L-2"), "BR-1": ("B-1",), "SK-1": ("K-1",), "STR-1": ("S-1",)}


def shown_hours(system: str, began: datetime, at: datetime) -> float:
    """What the system's meter shows at `at`, in the plant that stood at `began`."""
    days = (at - began) / timedelta(days=1)
    return round(_SHOWED_AT_FIRST_H[system] + RUNS_H_PER_DAY[system] * days, 1)


def tiny_plant(now: datetime) -> SmallPlant:
    """The plant as it stands at `now`."""
    plant = SmallPlant(now)
    for build in (_master_data, _catalogue, _positions, _facts, _store):
        plant = SmallPlant(now, plant.tables | build(now))
    return plant


def _master_data(_now: datetime) -> Tables:
    system: dict[str, Cell] = {"plant": "MILL", "fluid": "OIL-46", "hours_per_week": 50, "reservoir_volume [L]": 200}
    return {
        "plants": [{"plant": "MILL", "time_zone": "Europe/Oslo", "currency": "EUR", "risk": 0.1, "horizon [d]": 42}],
        "fluids": [
            {"fluid": "OIL-46", "family": "HM", "grade": 46, "viscosity_40 [mm2/s]": 46, "viscosity_index": 100},
            {"fluid": "OIL-68", "family": "HM", "grade": 68, "viscosity_40 [mm2/s]": 68, "viscosity_index": 100},
        ],
        "systems": [{"system": code, **system} for code in ("PRESS", "CONV")],
        "meters": [{"system": code, "digits": 5} for code in ("PRESS", "CONV")],
    }


def _catalogue(_now: datetime) -> Tables:
    rated: dict[str, Cell] = {"clean_dp [bar]": 0.4, "rated_flow [L/min]": 180, "rated_viscosity [mm2/s]": 30}
    element: dict[str, Cell] = {"kind": "element", "seal_kit": "SK-1", **rated}
    strainer: dict[str, Cell] = {"kind": "strainer", "cleanable": "yes", "max_cleanings": 10, "seal_kit": "SK-1"}
    return {
        "parts": [{"part_number": "SK-1", "kind": "seal_kit"}, {"part_number": "TRAY", "kind": "consumable"}],
        "element_types": [
            {"part_number": "EL-10", **element},
            {"part_number": "EL-25", **element},
            {"part_number": "STR-1", **strainer},
            {"part_number": "BR-1", "kind": "breather"},
            {"part_number": "BR-9", "kind": "breather"},
        ],
    }


def _positions(_now: datetime) -> Tables:
    housing: dict[str, Cell] = {
        "flow [L/min]": 180,
        "terminal_dp [bar]": 2.5,
        "bypass": "yes",
        "bypass_dp [bar]": 3.5,
    }
    limits: dict[str, dict[str, Cell]] = {
        RETURN: {"place": "return", "housing_dp [bar]": 0.2, **housing},
        STRAINER: {"place": "suction", "max_hours [h]": 1000},
        PRESSURE: {"place": "pressure", "max_hours [h]": 900},
        BREATHER: {"place": "breather", "max_age [d]": 365},
    }
    return {
        "positions": [
            {"position": code, "system": SYSTEM_OF[code], "part_number": SPECIFIED[code], **own}
            for code, own in limits.items()
        ],
        "kit_lines": [{"position": RETURN, "part_number": "TRAY", "quantity": 2}],
    }


AS_USUAL: dict[str, Cell] = {"flow [L/min]": 180, "oil_temperature [degC]": 50}


def _facts(now: datetime) -> Tables:
    fitted_days_ago = {RETURN: 150, STRAINER: 120, PRESSURE: 130, BREATHER: 340}
    rising = ((140, 0.6), (100, 0.75), (60, 1.0), (30, 1.25), (10, 1.5), (3, 1.6))
    return {
        "installations": [
            {"position": code, "part_number": SPECIFIED[code], "fitted_at": moment(now, days_ago), "lot": "OLD"}
            for code, days_ago in fitted_days_ago.items()
        ],
        "meter_readings": [
            {
                "system": system,
                "at": moment(now, days_ago),
                "hours [h]": shown_hours(system, now, now - timedelta(days=days_ago)),
            }
            for system in RUNS_H_PER_DAY
            for days_ago in (160, 90, 30, 1)
        ],
        "dp_readings": [
            {"position": RETURN, "at": moment(now, days_ago), "dp [bar]": dp, **AS_USUAL} for days_ago, dp in rising
        ],
    }


SUPPLY: dict[str, Cell] = {"order": "PO-9", "line": "1", "part_number": "BR-1", "quantity": 1}


def _store(now: datetime) -> Tables:
    counted: dict[str, Cell] = {"store": "MAIN", "counted_at": moment(now, 10)}
    soon = (now + timedelta(days=60)).date().isoformat()
    return {
        "stock": [
            {"part_number": "EL-10", "lot": "L-1", "on_hand": 1, "expires_at": soon, **counted},
            {"part_number": "EL-10", "lot": "L-2", "on_hand": 2, **counted},
            {"part_number": "SK-1", "lot": "K-1", "on_hand": 2, **counted},
            {"part_number": "TRAY", "on_hand": 3, **counted},
        ],
        "oil_stock": [{"fluid": "OIL-46", "lot": "D-1", "container [L]": 20, "on_hand": 2, **counted}],
        "supply": [SUPPLY | {"expected_at": moment(now, -8), "recorded_at": moment(now, 2)}],
    }
