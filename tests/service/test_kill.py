"""An import that is killed leaves nothing half done; of servers, see tests/flow/test_unreliable_line.py.

SIGKILL at points drawn by fixed seeds. The operating system survives, so this shows transactions and restarts;
that a commit is on the disk is `synchronous=FULL`, which test_database.py looks at.
"""

import random
import subprocess
import time
from collections import Counter
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from sqlalchemy.exc import OperationalError

from service.database import Database, is_busy
from service.demo.folder import write_demo_folder
from service.plant_folder.layout import TABLES
from service.schema import metadata
from tests.databases import ON_POSTGRESQL, url_at
from tests.service.served import begin, opened, run

KILLED_IMPORTS = 2 if ON_POSTGRESQL else 4  # a client's death cannot harm a server's files
A_DAY = datetime(2026, 3, 4).date()  # noqa: DTZ001 - a day on the demo plant's calendar


def is_whole(file: Path) -> None:
    """The file is sound and every reference holds (sqlite.org/pragma.html#pragma_integrity_check).

    In PostgreSQL the killed process is only a client: the server itself was never in danger.
    """
    if not ON_POSTGRESQL:
        assert rows(file, "PRAGMA integrity_check") == [("ok",)]
        assert rows(file, "PRAGMA foreign_key_check") == []


def counts(file: Path, *tables: str) -> dict[str, int]:
    with closing(Database(url_at(file))) as database, database.reading() as connection:
        counted = {table: sa.select(sa.func.count()).select_from(metadata.tables[table]) for table in tables}
        return {table: connection.scalar(query) or 0 for table, query in counted.items()}


def rows(file: Path, query: str) -> list[tuple[Any, ...]]:
    with closing(Database(url_at(file))) as database, database.reading() as connection:
        return [tuple(row) for row in connection.execute(sa.text(query))]


FACTS_AND_MASTER_DATA = tuple(layout.name for layout in TABLES)


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "plant"
    write_demo_folder(folder, A_DAY)
    return folder


def empty_database(at: Path) -> Path:
    with opened(at):
        pass
    return at


def is_being_written(file: Path) -> bool:
    with closing(Database(url_at(file))) as database:
        try:
            with database.writing(waits=False):
                return False
        except OperationalError as error:
            if not is_busy(error):
                raise
            return True


def wait_for_the_writing(process: subprocess.Popen[bytes], file: Path) -> None:
    while process.poll() is None and not is_being_written(file):
        time.sleep(0.003)


def import_killed_after(folder: Path, file: Path, delay_s: float) -> bool:
    """Kill it that long after it began to write; whether it had ended before."""
    process = begin("import", str(folder), database=file)
    wait_for_the_writing(process, file)
    time.sleep(delay_s)
    ended = process.poll() is not None
    process.kill()
    process.wait()
    return ended


def test_an_import_that_is_killed_has_changed_everything_or_nothing(demo_folder: Path, tmp_path: Path) -> None:
    whole, writing_s = _undisturbed(demo_folder, tmp_path / "undisturbed.sqlite")
    draw = random.Random(20260304)  # noqa: S311
    file = empty_database(tmp_path / "plant.sqlite")
    nothing = counts(file, *FACTS_AND_MASTER_DATA, "imports")
    found: Counter[str] = Counter()
    for _ in range(KILLED_IMPORTS):
        import_killed_after(demo_folder, file, draw.uniform(0.0, 1.1) * writing_s)
        is_whole(file)
        kept = counts(file, *FACTS_AND_MASTER_DATA, "imports")
        assert kept in (nothing, whole)
        found["all" if kept == whole else "nothing"] += 1
        if kept == whole:
            file = empty_database(tmp_path / f"plant{found['all']}.sqlite")
    assert found["nothing"] > 0, "no kill came in time; the delays no longer fit the import"
    assert run("import", str(demo_folder), database=file).returncode == 0
    assert counts(file, *FACTS_AND_MASTER_DATA, "imports") == whole


def _undisturbed(folder: Path, file: Path) -> tuple[dict[str, int], float]:
    empty_database(file)
    process = begin("import", str(folder), database=file)
    wait_for_the_writing(process, file)
    began = time.monotonic()
    while is_being_written(file):
        time.sleep(0.003)
    writing_s = time.monotonic() - began
    assert process.wait(timeout=60) == 0
    whole = counts(file, *FACTS_AND_MASTER_DATA, "imports")
    assert whole["dp_readings"] > 1000
    assert whole["imports"] == 1
    return whole, writing_s
