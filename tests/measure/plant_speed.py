"""How long a planning pass of a whole plant takes: load, compute and write apart, on SQLite.

A simulated plant with its history is written as a plant folder and imported. Then what a pass decides from is loaded,
its parts are computed one by one, and a pass is run and kept as the service does it. Part of `forecast_speed.py`.
"""

import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from scheduler.planning.comparable_readings import instruments
from scheduler.planning.condition import assess_condition
from scheduler.planning.due import assess_due
from scheduler.planning.duty import assess_duty
from scheduler.planning.indicator import sightings_of
from scheduler.planning.learning import learn_from_lives
from scheduler.planning.limit_dates import limit_dates
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.risk import accepted_risk
from service.database import Database
from service.due.planning_pass import run_pass
from service.imports.importing import import_folder
from service.migrating import migrate
from service.plant_store.loading import load_plant
from service.plant_store.time import from_day
from tests.measure.simulated_plants.as_folder import write_plant_folder
from tests.measure.simulated_plants.machine import simulate
from tests.measure.simulated_plants.settings import Settings

PLACES_PER_SYSTEM = (3, 5)
LAW = "two stages"


@dataclass(frozen=True, slots=True)
class PlantSpeed:
    """What the plant holds, and the seconds of each step by its name."""

    positions: int
    lives: int
    readings: int
    steps_s: dict[str, float]


def measure_plant(positions: int, seed: int) -> PlantSpeed:
    """A plant of about so many positions."""
    systems = max(positions * 2 // sum(PLACES_PER_SYSTEM), 1)
    plant = simulate(LAW, seed, Settings(systems=systems, places_per_system=PLACES_PER_SYSTEM))
    as_of_day = plant.test_starts_day + 100.0
    with tempfile.TemporaryDirectory(prefix="elementdue-") as at:
        write_plant_folder(plant, as_of_day, Path(at) / "plant")
        with closing(Database(f"sqlite:///{Path(at) / 'plant.sqlite'}")) as database:
            migrate(database)
            return _timed(database, Path(at) / "plant", from_day(as_of_day))


def _timed(database: Database, folder: Path, as_of: datetime) -> PlantSpeed:
    steps_s: dict[str, float] = {}
    began = time.perf_counter()

    def done(step: str) -> None:
        nonlocal began
        steps_s[step] = time.perf_counter() - began
        began = time.perf_counter()

    import_folder(database, folder, name=folder.name, now=as_of, by="measurement")
    done("import")
    with database.reading() as connection:
        columns = load_plant(connection, as_of)
    done("load")
    _compute(columns, done)
    with database.writing() as connection:
        kept = run_pass(connection, as_of=as_of, now=as_of, cause="measurement", by="measurement")
    done("a pass in all")
    # a pass counts itself what it takes to load and to decide
    steps_s["of it written and committed"] = steps_s["a pass in all"] - kept.took_s
    return PlantSpeed(
        positions=len(columns.positions.code),
        lives=len(columns.lives.position),
        readings=len(columns.dp.day) + len(columns.life_dp.day),
        steps_s=steps_s,
    )


def _compute(columns: PlantColumns, done: Callable[[str], None]) -> None:
    duty = assess_duty(columns)
    done("compute: run hours")
    prior = learn_from_lives(columns, duty, instruments(columns)).prior
    done("compute: learn from lives")
    condition = assess_condition(columns, duty, prior)
    done("compute: condition")
    sightings = sightings_of(columns, condition)
    dates, risk = limit_dates(columns, duty, condition, sightings, {}), accepted_risk(columns, duty, condition)
    assess_due(columns, duty, condition, dates, risk, sightings, {})
    done("compute: due dates")


def plant_table(speed: PlantSpeed) -> str:
    """The steps as a table of Markdown."""
    about = f"a plant of {speed.positions:,} positions, {speed.lives:,} finished lives, {speed.readings:,} readings"
    lines = [f"| {about} | s |", "|---|---|"]
    return "\n".join([*lines, *(f"| {step} | {step_s:.2f} |" for step, step_s in speed.steps_s.items())])
