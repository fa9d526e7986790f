"""A simulated plant as a plant folder: what was noted up to a moment, as a plant would hand it in."""

import csv
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np

from service.plant_store.time import from_day
from tests.measure.simulated_plants.machine import DENSITY_15, OIL_40_MM2_S, OIL_100_MM2_S, Life, SimulatedPlant

Cell = str | float | None


def write_plant_folder(plant: SimulatedPlant, as_of_day: float, target: Path) -> None:
    """CSV tables in `target`; systems S0, S1, ..., positions P0, P1, ... in the plant's order."""
    target.mkdir(parents=True, exist_ok=True)
    for name, (head, rows) in _tables(plant, as_of_day).items():
        with (target / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            out = csv.writer(file, lineterminator="\n")
            out.writerow(head.split(","))
            out.writerows(["" if cell is None else cell for cell in row] for row in rows)


def _tables(plant: SimulatedPlant, as_of_day: float) -> dict[str, tuple[str, Iterable[list[Cell]]]]:
    lives = [life for life in plant.lives if life.fitted_day < as_of_day]
    return {
        "plants": ("plant,time_zone", [["SIMULATED", "UTC"]]),
        "fluids": (
            "fluid,viscosity_40 [mm2/s],viscosity_100 [mm2/s],density_15 [kg/m3]",
            [["HM46", OIL_40_MM2_S, OIL_100_MM2_S, DENSITY_15]],
        ),
        "systems": (
            "system,plant,fluid,reservoir_volume [L],working_temperature [degC],hours_per_week",
            [
                [f"S{row}", "SIMULATED", "HM46", 400.0, 50.0, each.hours_per_week]
                for row, each in enumerate(plant.systems)
            ],
        ),
        "element_types": (
            "part_number,kind,clean_dp [bar],rated_flow [L/min],rated_viscosity [mm2/s]",
            [
                [f"E{row}", "element", round(each.clean_dp_bar, 3), each.rated_flow_lpm, 30.0]
                for row, each in enumerate(plant.types)
            ],
        ),
        "positions": (
            "position,system,place,part_number,flow [L/min],terminal_dp [bar],bypass_dp [bar],housing_dp [bar]",
            [
                [
                    *(f"P{row}", f"S{each.system}", "return", f"E{each.type}", round(each.flow_lpm, 1)),
                    *(round(each.terminal_dp_bar, 3), round(each.bypass_dp_bar, 3)),
                    round(each.housing_dp_bar, 4) if each.housing_told else None,
                ]
                for row, each in enumerate(plant.places)
            ],
        ),
        "installations": (
            "position,fitted_at,part_number,removed_at,reason",
            (_installation(plant, life, as_of_day) for life in lives),
        ),
        "meter_readings": ("system,at,hours [h]", _meter_readings(plant, as_of_day)),
        "dp_readings": (
            "position,at,dp [bar],flow [L/min],oil_temperature [degC]",
            (row for life in lives for row in _dp_readings(life, as_of_day)),
        ),
    }


def _installation(plant: SimulatedPlant, life: Life, as_of_day: float) -> list[Cell]:
    over = life.removed_day <= as_of_day
    return [
        *(f"P{life.place}", _at(life.fitted_day), f"E{plant.places[life.place].type}"),
        *((_at(life.removed_day), str(life.reason)) if over else (None, None)),
    ]


def _meter_readings(plant: SimulatedPlant, as_of_day: float) -> Iterator[list[Cell]]:
    for row, system in enumerate(plant.systems):
        for day, shown_h in zip(system.meter_day, system.meter_h, strict=True):
            if day <= as_of_day:
                yield [f"S{row}", _at(day), max(shown_h, 0.0)]


def _dp_readings(life: Life, as_of_day: float) -> Iterator[list[Cell]]:
    columns = (life.day, life.dp_bar, life.flow_lpm, life.oil_temperature_degC)
    for day, dp, flow, degC in zip(*columns, strict=True):
        if day <= as_of_day:
            told = (None if np.isnan(value) else round(float(value), 3) for value in (flow, degC))
            yield [f"P{life.place}", _at(day), max(float(dp), 0.0), *told]


def _at(day: float) -> str:
    return from_day(float(day)).isoformat(timespec="minutes")
