"""How fast are a million readings imported and exported, beside the bare driver, and in how much memory?

An invented plant of 500 positions is written as CSV tables, read to 0.01 bar every three hours. A process of its own
imports it into an empty SQLite file; another takes the same rows out of that file and gives them to the driver's
`executemany`, in one transaction, into a table with the same columns, indices, foreign keys and settings of the
connection. Both are timed without the start of their interpreter and without making the folder or the list of rows,
turn by turn, and the best of each counts: other work on the machine only ever slows. The peak is that of the whole
process.

Run: python tests/measure/import_million.py [readings] [rounds]
"""

import json
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from service.database import Database
from service.imports.importing import import_folder
from service.migrating import migrate
from service.plant_folder.cycle_collection import rare_cycle_collection
from service.plant_folder.writing import write_folder
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


def _import(folder: Path, database_file: Path) -> Told:
    with closing(Database(f"sqlite:///{database_file}")) as database:
        migrate(database)
        began = time.perf_counter()
        outcome = import_folder(database, folder, name=folder.name, now=NOW, by="measurement")
        took_s = time.perf_counter() - began
    counts = outcome.tables["dp_readings"]
    return Told(took_s, peak_MB(), counts.added + counts.unchanged)


def _export(target: Path, database_file: Path) -> Told:
    with closing(Database(f"sqlite:///{database_file}")) as database:
        began = time.perf_counter()
        with rare_cycle_collection(), database.reading() as connection:
            counts = write_folder(connection, target)
        took_s = time.perf_counter() - began
    return Told(took_s, peak_MB(), counts["dp_readings"])


def _drive(imported: Path, database_file: Path) -> Told:
    """The rows of `imported` into an empty table of the same shape, by the driver alone."""
    with closing(Database(f"sqlite:///{database_file}")) as database:
        migrate(database)
    with closing(sqlite3.connect(imported)) as source:
        names = [row[1] for row in source.execute("PRAGMA table_info(dp_readings)") if row[1] != "id"]
        listed = ", ".join(f'"{name}"' for name in names)
        rows = source.execute(f"SELECT {listed} FROM dp_readings ORDER BY id").fetchall()  # noqa: S608 - own names
    with closing(sqlite3.connect(database_file, isolation_level=None)) as target:
        target.execute("ATTACH ? AS imported", (str(imported),))
        for table in ("plants", "fluids", "systems", "element_types", "positions"):
            target.execute(f"INSERT INTO {table} SELECT * FROM imported.{table}")  # noqa: S608 - own names
        for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):  # as service.database has them
            target.execute(f"PRAGMA {pragma}")
        began = time.perf_counter()
        target.execute("BEGIN IMMEDIATE")
        marks = ", ".join("?" * len(names))
        target.executemany(f"INSERT INTO dp_readings ({listed}) VALUES ({marks})", rows)  # noqa: S608 - own names
        target.execute("COMMIT")
        took_s = time.perf_counter() - began
    return Told(took_s, peak_MB(), len(rows))


_WORK = {"import": _import, "export": _export, "driver": _drive}


def in_own_process(work: str, path: Path, database_file: Path) -> Told:
    """Let another process do one of `_WORK` and tell what it took."""
    command = [sys.executable, str(Path(__file__).resolve()), "--work", work, str(path), str(database_file)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=CHECKOUT)
    if done.returncode:
        raise RuntimeError(done.stderr[-2000:])
    return Told(**json.loads(done.stdout))


@dataclass(frozen=True, slots=True)
class Measured:
    """Each kind of work, the best of its rounds."""

    driver: Told
    first_import: Told
    same_again: Told
    export_csv: Told
    export_zip: Told
    export_xlsx: Told | None

    @property
    def share_of_driver(self) -> float:
        return self.first_import.rows_per_s / self.driver.rows_per_s


def measure(at: Path, readings: int, rounds: int, *, with_workbook: bool = True) -> Measured:
    """Everything, in the empty folder `at`."""
    folder = at / "plant"
    write_readings(folder, readings)
    imports: list[Told] = []
    drives: list[Told] = []
    for turn in range(rounds):
        imports.append(in_own_process("import", folder, at / f"import{turn}.sqlite"))
        drives.append(in_own_process("driver", at / f"import{turn}.sqlite", at / f"driver{turn}.sqlite"))
    imported = at / "import0.sqlite"
    return Measured(
        min(drives, key=lambda told: told.took_s),
        min(imports, key=lambda told: told.took_s),
        in_own_process("import", folder, imported),
        in_own_process("export", at / "out", imported),
        in_own_process("export", at / "out.zip", imported),
        in_own_process("export", at / "out.xlsx", imported) if with_workbook else None,
    )


def table(measured: Measured) -> str:
    """The results as a table of Markdown."""
    lines = ["| work | s | rows/s | of the driver's speed | peak of the process, MB |", "|---|---|---|---|---|"]
    named = {
        "the driver alone": measured.driver,
        "first import": measured.first_import,
        "the same folder again": measured.same_again,
        "export to CSV": measured.export_csv,
        "export to .zip": measured.export_zip,
        "export to .xlsx": measured.export_xlsx,
    }
    for name, told in named.items():
        if told is not None:
            share = f"{told.rows_per_s / measured.driver.rows_per_s:.0%}"
            peak = "–" if told is measured.driver else f"{told.peak_MB:.0f}"
            lines.append(f"| {name} | {told.took_s:.1f} | {told.rows_per_s:,.0f} | {share} | {peak} |")
    return "\n".join(lines)


def main() -> None:
    if sys.argv[1:2] == ["--work"]:
        told = _WORK[sys.argv[2]](Path(sys.argv[3]), Path(sys.argv[4]))
        print(json.dumps({"took_s": told.took_s, "peak_MB": told.peak_MB, "rows": told.rows}))  # noqa: T201
        return
    readings = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 2
    with tempfile.TemporaryDirectory(prefix="elementdue-") as folder:
        measured = measure(Path(folder), readings, rounds, with_workbook=readings < 1_048_576)
    print(table(measured))  # noqa: T201


if __name__ == "__main__":
    main()
