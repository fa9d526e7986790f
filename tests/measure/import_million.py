"""How fast are a million readings imported and exported, beside the bare driver, and in how much memory?

An invented plant of 500 positions is written as CSV tables, read to 0.01 bar every three hours. A process of its own
imports it into an empty database; another gives the same rows to the bare driver (bare_driver.py): by `executemany`
to SQLite, by COPY to PostgreSQL, and there in two other ways for scale. Both are timed without the start of their
interpreter and without making the folder or the list of rows, turn by turn, and the best of each counts: other work
on the machine only ever slows. The peak is that of the whole process, but not of PostgreSQL's server.

The server is that of ELEMENTDUE_TEST_POSTGRESQL, whose user may create databases, or one that is started with the
settings it comes with: it waits for the disk at each commit.

Run: python tests/measure/import_million.py [readings] [rounds] [sqlite|postgresql]
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack, closing
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from service.database import Database
from service.imports.importing import import_folder
from service.migrating import migrate
from service.plant_folder.cycle_collection import rare_cycle_collection
from service.plant_folder.writing import write_folder
from tests.databases import ON_POSTGRESQL, SERVER, drop_databases, started_server, url_at, use_server
from tests.measure.bare_driver import Load, copy_rows, copy_text, executemany, load_again
from tests.measure.peak_memory import peak_MB

CHECKOUT = Path(__file__).resolve().parents[2]
POSITIONS = 500
FIRST_READING = datetime(2024, 1, 1, 6)  # noqa: DTZ001 - the plant's own time, as a file has it
NOW = datetime(2026, 11, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Told:
    """What a process measured of itself."""

    took_s: float
    peak_MB: float
    rows: int

    @property
    def rows_per_s(self) -> float:
        return self.rows / self.took_s


def write_readings(folder: Path, readings: int) -> None:
    """The plant's tables; each position has as many readings as the others, one after the other in time."""
    folder.mkdir(parents=True)
    positions = [f"P-{number:04}" for number in range(POSITIONS)]
    small = {
        "plants": ["plant,time_zone", "NORTH,Europe/Oslo"],
        "fluids": ["fluid,grade", "HM46,46"],
        "systems": ["system,plant,fluid,reservoir_volume [L]", "PRESS,NORTH,HM46,400"],
        "element_types": ["part_number,kind", "E-10,element"],
        "positions": ["position,system,place,part_number", *(f"{each},PRESS,return,E-10" for each in positions)],
    }
    for name, lines in small.items():
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    with (folder / "dp_readings.csv").open("w", encoding="utf-8") as file:
        file.write("position,at,dp [bar],flow [L/min],oil_temperature [degC],indicator\n")
        for number, position in enumerate(positions):
            for turn in range(readings // POSITIONS):
                at = FIRST_READING + timedelta(hours=3 * turn)
                dp_bar = 0.4 + (turn * 7 + number) % 211 / 100
                told = f"{dp_bar:.2f},{60 + (turn + number) % 23},{38 + turn % 17},clear"
                file.write(f"{position},{at:%Y-%m-%dT%H:%M},{told}\n")


def _import(folder: str, address: str) -> Told:
    with closing(Database(address)) as database:
        migrate(database)
        began = time.perf_counter()
        outcome = import_folder(database, Path(folder), name="plant", now=NOW, by="measurement")
        took_s = time.perf_counter() - began
    counts = outcome.tables["dp_readings"]
    return Told(took_s, peak_MB(), counts.added + counts.unchanged)


def _export(target: str, address: str) -> Told:
    with closing(Database(address)) as database:
        began = time.perf_counter()
        with rare_cycle_collection(), database.reading() as connection:
            counts = write_folder(connection, Path(target))
        took_s = time.perf_counter() - began
    return Told(took_s, peak_MB(), counts["dp_readings"])


_DRIVEN: dict[str, Load] = {"executemany": executemany, "COPY": copy_rows, "COPY of ready text": copy_text}
_DRIVER, *_FOR_SCALE = ("COPY", "COPY of ready text", "executemany") if ON_POSTGRESQL else ("executemany",)


def work_here(work: str, path: str, address: str) -> Told:
    """Import or export the folder at `path`, or load what was imported at the address `path` by the driver alone."""
    match work:
        case "import":
            return _import(path, address)
        case "export":
            return _export(path, address)
        case _:
            took_s, rows = load_again(_DRIVEN[work], path, address)
            return Told(took_s, peak_MB(), rows)


def in_own_process(work: str, path: str | Path, address: str) -> Told:
    """Let another process do the work and tell what it took."""
    command = [sys.executable, str(Path(__file__).resolve()), "--work", work, str(path), address]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=CHECKOUT)
    if done.returncode:
        raise RuntimeError(done.stderr[-2000:])
    return Told(**json.loads(done.stdout))


@dataclass(frozen=True, slots=True)
class Measured:
    """Each kind of work, the best of its rounds; `for_scale` are other ways of the driver."""

    driver: Told
    first_import: Told
    same_again: Told
    export_csv: Told
    export_zip: Told
    export_xlsx: Told | None
    for_scale: dict[str, Told] = field(default_factory=dict)

    @property
    def share_of_driver(self) -> float:
        return self.first_import.rows_per_s / self.driver.rows_per_s


def measure(
    at: Path, readings: int, rounds: int, *, with_workbook: bool = True, with_scale: bool = False
) -> Measured:
    """Everything, in the empty folder `at` and in databases "at" paths in it."""
    folder = at / "plant"
    write_readings(folder, readings)
    imports: list[Told] = []
    drives: list[Told] = []
    for turn in range(rounds):
        imported = url_at(at / f"import{turn}.sqlite")
        imports.append(in_own_process("import", folder, imported))
        drives.append(in_own_process(_DRIVER, imported, url_at(at / f"driver{turn}.sqlite")))
    imported = url_at(at / "import0.sqlite")
    ways = _FOR_SCALE if with_scale else []
    for_scale = {way: in_own_process(way, imported, url_at(at / f"{way}.sqlite")) for way in ways}
    return Measured(
        min(drives, key=lambda told: told.took_s),
        min(imports, key=lambda told: told.took_s),
        in_own_process("import", folder, imported),
        in_own_process("export", at / "out", imported),
        in_own_process("export", at / "out.zip", imported),
        in_own_process("export", at / "out.xlsx", imported) if with_workbook else None,
        for_scale,
    )


def table(measured: Measured) -> str:
    """The results as a table of Markdown."""
    lines = ["| work | s | rows/s | of the driver's speed | peak of the process, MB |", "|---|---|---|---|---|"]
    driven = {f"the driver alone, {_DRIVER}": measured.driver}
    driven |= {f"the driver alone, {way}": told for way, told in measured.for_scale.items()}
    ours = {
        "first import": measured.first_import,
        "the same folder again": measured.same_again,
        "export to CSV": measured.export_csv,
        "export to .zip": measured.export_zip,
        "export to .xlsx": measured.export_xlsx,
    }
    for name, told in (driven | ours).items():
        if told is not None:
            share = f"{told.rows_per_s / measured.driver.rows_per_s:.0%}"
            peak = f"{told.peak_MB:.0f}" if name in ours else "–"
            lines.append(f"| {name} | {told.took_s:.1f} | {told.rows_per_s:,.0f} | {share} | {peak} |")
    return "\n".join(lines)


def measure_here(readings: int, rounds: int) -> None:
    """Print the table of the database that ELEMENTDUE_TEST_ON chose for this process."""
    with ExitStack() as ending:
        if ON_POSTGRESQL and SERVER not in os.environ:
            use_server(ending.enter_context(started_server()))
        at = Path(ending.enter_context(tempfile.TemporaryDirectory(prefix="elementdue-")))
        if ON_POSTGRESQL:
            ending.callback(drop_databases, at)
        measured = measure(at, readings, rounds, with_workbook=readings < 1_048_576, with_scale=True)
    print(table(measured))  # noqa: T201


def main() -> None:
    match sys.argv[1:]:
        case ["--work", work, path, address]:
            print(json.dumps(asdict(work_here(work, path, address))))  # noqa: T201
        case ["--here", readings, rounds]:
            measure_here(int(readings), int(rounds))
        case told:
            readings, rounds, *chosen = (*told, *("1000000", "2")[len(told) :])
            for on in chosen or ("sqlite", "postgresql"):
                print(f"\n{on}\n", flush=True)  # noqa: T201
                command = [sys.executable, str(Path(__file__).resolve()), "--here", readings, rounds]
                subprocess.run(command, check=True, cwd=CHECKOUT, env=os.environ | {"ELEMENTDUE_TEST_ON": on})


if __name__ == "__main__":
    main()
