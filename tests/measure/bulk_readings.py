"""How long do 50,000 ΔP readings take in one call of the API, beside the import of a folder with the same rows?

An invented plant of 500 positions; each way in a process of its own with an empty database, through the route and
its answer. Processor time is told beside the time that passed, since other work on the machine slows only the latter.
The peak is that of the whole process. `refused` sends rows that are all wrong in five members.

Run: python tests/measure/bulk_readings.py [rows]
"""

import json
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # so that it also runs as a plain script
from scheduler.vocabulary import Scope
from service.app import create_app
from service.database import Database
from service.imports.importing import import_folder
from service.keys.keeping import make_key
from service.migrating import migrate
from service.settings import Settings
from tests.measure.peak_memory import peak_MB
from tests.service.served import Served

WAYS = ("folder", "text/csv", "application/x-ndjson", "application/json", "refused")
POSITIONS = 500
FIRST = datetime(2025, 2, 1, tzinfo=UTC)
NOW = datetime(2026, 11, 1, tzinfo=UTC)
UNITS = {"dp": "bar", "flow": "L/min", "oil_temperature": "degC"}
PLANT = {
    "plants": "plant,time_zone\nMILL,Europe/Oslo\n",
    "fluids": "fluid,grade\nHM46,46\n",
    "systems": "system,plant,fluid,reservoir_volume [L]\nS,MILL,HM46,400\n",
    "element_types": "part_number,kind\nE-10,element\n",
    "positions": "position,system,place,part_number\n"
    + "".join(f"P{number},S,return,E-10\n" for number in range(POSITIONS)),
}


def rows_of(count: int) -> list[dict[str, Any]]:
    return [
        {
            "position": f"P{number % POSITIONS}",
            "at": (FIRST + timedelta(minutes=13 * (number // POSITIONS))).isoformat(),
            "dp": round(0.5 + number * 7919 % 1000 / 999.7, 4),
            "flow": round(170 + number % 97 * 0.37, 2),
            "oil_temperature": round(40 + number % 83 * 0.21, 2),
        }
        for number in range(count)
    ]


def as_csv(rows: list[dict[str, Any]]) -> bytes:
    header = ",".join(f"{name} [{UNITS[name]}]" if name in UNITS else name for name in rows[0])
    return "\n".join([header, *(",".join(map(str, row.values())) for row in rows)]).encode()


def content_of(way: str, rows: list[dict[str, Any]]) -> bytes:
    if way in {"folder", "text/csv"}:
        return as_csv(rows)
    if way == "application/x-ndjson":
        return "\n".join(map(json.dumps, [{"units": UNITS}, *rows])).encode()
    if way == "refused":
        wrong = dict.fromkeys(("position", "at", "dp", "flow", "oil_temperature"), "nothing that is known here")
        rows = [wrong] * len(rows)
    return json.dumps({"units": UNITS, "rows": rows}).encode()


def write_tables(at: Path, tables: dict[str, bytes]) -> Path:
    at.mkdir()
    for name, content in tables.items():
        (at / f"{name}.csv").write_bytes(content)
    return at


def measure(way: str, count: int, at: Path) -> dict[str, Any]:
    """One way, in this process."""
    with closing(Database(f"sqlite:///{at / 'plant.sqlite'}")) as database:
        migrate(database)
        plant = write_tables(at / "plant", {name: text.encode() for name, text in PLANT.items()})
        import_folder(database, plant, name="plant", now=NOW, by="measure")
        content = content_of(way, rows_of(count))
        folder = write_tables(at / "readings", {"dp_readings": content})
        with database.writing() as connection:
            key = make_key(connection, "logger", [Scope.INTEGRATE], now=NOW)
        service = Served(database, create_app(database, Settings(), ticks=False))
        began = time.perf_counter(), time.process_time()
        if way == "folder":
            import_folder(database, folder, name="readings", now=NOW, by="measure")
        else:
            media_type = "application/json" if way == "refused" else way
            with service.client(key) as client:
                answer = client.post("/v1/dp-readings", content=content, headers={"Content-Type": media_type})
            assert answer.json()["counts"]["refused" if way == "refused" else "new"] == count, answer.text[:500]
        passed_s, busy_s = time.perf_counter() - began[0], time.process_time() - began[1]
    return {"passed": passed_s, "busy": busy_s, "peak": peak_MB(), "body": len(content) / 1e6}


def main() -> None:
    if len(sys.argv) > 2:
        with tempfile.TemporaryDirectory(prefix="elementdue-") as at:
            sys.stdout.write(json.dumps(measure(sys.argv[1], int(sys.argv[2]), Path(at))))
        return
    count = sys.argv[1] if len(sys.argv) > 1 else "50000"
    sys.stdout.write(
        "| way | body MB | passed s | processor s | to the folder's | peak MB |\n|---|---|---|---|---|---|\n"
    )
    of_folder_s = 0.0
    for way in WAYS:
        ran = subprocess.run([sys.executable, __file__, way, count], capture_output=True, text=True, check=True)
        told = json.loads(ran.stdout)
        of_folder_s = of_folder_s or told["busy"]
        ratio = told["busy"] / of_folder_s
        sys.stdout.write(
            f"| {way} | {told['body']:.1f} | {told['passed']:.1f} | {told['busy']:.1f} | {ratio:.1f} |"
            f" {told['peak']:.0f} |\n"
        )


if __name__ == "__main__":
    main()
