"""How long a replay takes: five years of a plant of about 120 positions in weekly steps, on one process and on two.

The aim is 260 steps within 5 minutes on two cores. The plant is simulated and imported as a folder, as its owner
would hand it in. `python tests/measure/replay_speed.py [processes] [years] [every_block]`.
"""

import os
import sys
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from service.database import Database
from service.imports.importing import import_folder
from service.migrating import migrate
from service.plant_store.history import load_history
from service.plant_store.time import from_day
from service.replay.stepping import blocks_of, go_through, moments_of_steps
from tests.measure.simulated_plants.as_folder import write_plant_folder
from tests.measure.simulated_plants.machine import simulate
from tests.measure.simulated_plants.settings import Settings

SEED = 20261128
STEP_D = 7.0


@dataclass(frozen=True, slots=True)
class ReplaySpeed:
    positions: int
    lives: int
    readings: int
    steps: int
    load_s: float
    replay_s: float
    cpu_s: float
    """Of all processes: what the replay takes where nobody else wants the cores."""


def measure_replay(systems: int, years: float, processes: int, every_block: int = 1) -> ReplaySpeed:
    """A plant of about four positions a system; of the blocks of four weeks every so many are gone through."""
    plant = simulate("two stages", SEED, Settings(systems=systems, places_per_system=(3, 5)))
    as_of_day = plant.test_starts_day + 250.0
    with tempfile.TemporaryDirectory(prefix="elementdue-") as at:
        write_plant_folder(plant, as_of_day, Path(at) / "plant")
        with closing(Database(f"sqlite:///{Path(at) / 'plant.sqlite'}")) as database:
            migrate(database)
            last = from_day(as_of_day)
            import_folder(database, Path(at) / "plant", name="plant", now=last, by="measurement")
            began = time.perf_counter()
            with database.reading() as connection:
                history = load_history(connection, last)
            load_s = time.perf_counter() - began
    moments = moments_of_steps(last - timedelta(days=365.25 * years), last, STEP_D)
    blocks = blocks_of(moments, STEP_D)[::every_block]
    began, cpu_began_s = time.perf_counter(), _cpu_s()
    steps = sum(len(block) for block in go_through(history, blocks, processes))
    replay_s, cpu_s = time.perf_counter() - began, _cpu_s() - cpu_began_s
    columns = history.cut(last)
    return ReplaySpeed(
        *(len(columns.positions.code), len(columns.lives.position)),
        *(len(columns.dp.day) + len(columns.life_dp.day), steps, load_s, replay_s, cpu_s),
    )


def _cpu_s() -> float:
    """Of this process and of those that it started and that have ended."""
    used = os.times()
    return used.user + used.system + used.children_user + used.children_system


def main(processes: int = 2, years: float = 5.0, every_block: int = 1) -> None:
    found = measure_replay(30, years, processes, every_block)
    sys.stdout.write(
        f"| {processes} | {found.positions} | {found.lives} | {found.readings:,} | {found.steps} "
        f"| {found.load_s:.1f} | {found.replay_s:.0f} | {found.cpu_s:.0f} | {found.cpu_s / found.steps:.2f} |\n"
        f"load of the machine at the end: {os.getloadavg()[0]:.1f}\n"
    )


if __name__ == "__main__":
    main(*(kind(word) for kind, word in zip((int, float, int), sys.argv[1:], strict=False)))
