"""A process that is killed loses nothing it has acknowledged and leaves nothing half done.

SIGKILL at points drawn by fixed seeds. The operating system survives, so this shows transactions and restarts;
that a commit is on the disk is `synchronous=FULL`, which test_database.py looks at.
"""

import random
import subprocess
import threading
import time
from collections import Counter
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
import sqlalchemy as sa
from sqlalchemy.exc import OperationalError

from service.database import Database, is_busy
from service.demo.folder import write_demo_folder
from service.plant_folder.layout import TABLES
from service.schema import metadata
from tests.databases import ON_POSTGRESQL, url_at
from tests.service.served import ServerProcess, begin, opened, run, take_small_plant
from tests.service.small_plant import ELEMENT, LOT, ON_HAND, POSITIONS, SYSTEMS, close_out

KILLED_IMPORTS, KILLED_SERVERS = (3, 4) if ON_POSTGRESQL else (8, 12)  # a client's death cannot harm a server's files
KILLED_AT_ONCE_SHARE = 0.25
CLOSE_OUTS_EACH = 30
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


@dataclass
class Technician:
    """Closes jobs at one system one after the other; repeats what was not answered, with the same key."""

    system: str
    acknowledged: dict[str, tuple[dict[str, Any], str]] = field(default_factory=dict)
    number: int = 0
    repeats: int = 0

    def work(self, url: str, key: str) -> None:
        """Until the server is gone."""
        with httpx.Client(base_url=url, headers={"Authorization": f"Bearer {key}"}, timeout=30) as client:
            while self.number < CLOSE_OUTS_EACH * KILLED_SERVERS:
                number = self.number + 1
                body = close_out(self._position(number), number)
                idempotency_key = f"{self.system}-{number}"
                try:
                    answer = client.post("/v1/close-outs", json=body, headers={"Idempotency-Key": idempotency_key})
                except httpx.TransportError:
                    return
                assert answer.status_code == 201, answer.text
                self.repeats += answer.headers.get("Idempotency-Replayed") == "true"
                self.acknowledged[idempotency_key] = (body, answer.text)
                self.number = number

    def _position(self, number: int) -> str:
        own = [position for position in POSITIONS if position.startswith(self.system)]
        return own[number % len(own)]


@dataclass
class Aftermath:
    """What two technicians and twelve kills left behind."""

    file: Path
    technicians: list[Technician]
    replayed: dict[str, httpx.Response]


@pytest.fixture(scope="module")
def aftermath(tmp_path_factory: pytest.TempPathFactory) -> Aftermath:
    folder = tmp_path_factory.mktemp("killed")
    file = folder / "plant.sqlite"
    with opened(file) as database:
        take_small_plant(database, folder / "small")
    server = ServerProcess(file, "--no-clock")
    technicians = [Technician(system) for system in SYSTEMS]
    draw = random.Random(20260305)  # noqa: S311
    for _ in range(KILLED_SERVERS):
        server.start()
        threads = [threading.Thread(target=each.work, args=(server.url, server.key)) for each in technicians]
        for thread in threads:
            thread.start()
        if draw.random() > KILLED_AT_ONCE_SHARE:
            _until_one_more_is_closed(technicians)
        time.sleep(draw.uniform(0.05, 0.5))
        server.kill()
        for thread in threads:
            thread.join()
        is_whole(file)
    server.start()
    try:
        replayed = _say_everything_again(server, technicians)
    finally:
        server.stop()
    return Aftermath(file, technicians, replayed)


def _until_one_more_is_closed(technicians: list[Technician]) -> None:
    """However slow the machine is: the kill comes while the work is going on."""
    before = sum(technician.number for technician in technicians)
    patience = time.monotonic() + 30.0
    while sum(technician.number for technician in technicians) == before and time.monotonic() < patience:
        time.sleep(0.005)


def _say_everything_again(server: ServerProcess, technicians: list[Technician]) -> dict[str, httpx.Response]:
    replayed = {}
    with httpx.Client(base_url=server.url, headers={"Authorization": f"Bearer {server.key}"}, timeout=30) as client:
        for technician in technicians:
            for key, (body, _) in technician.acknowledged.items():
                replayed[key] = client.post("/v1/close-outs", json=body, headers={"Idempotency-Key": key})
    return replayed


def acknowledged(aftermath: Aftermath) -> dict[str, tuple[dict[str, Any], str]]:
    return {key: told for technician in aftermath.technicians for key, told in technician.acknowledged.items()}


def test_the_kills_came_while_jobs_were_being_closed(aftermath: Aftermath) -> None:
    assert all(technician.number > 0 for technician in aftermath.technicians)
    assert sum(technician.number for technician in aftermath.technicians) >= KILLED_SERVERS / 2


def test_every_acknowledged_close_out_is_there_exactly_once(aftermath: Aftermath) -> None:
    notes = Counter(note for (note,) in rows(aftermath.file, "SELECT told ->> 'note' FROM close_outs"))
    told = {str(body["note"]) for body, _ in acknowledged(aftermath).values()}
    assert {note: notes[note] for note in told} == dict.fromkeys(told, 1)
    # beyond them at most the one that each technician was waiting for when the last kill came
    assert len(set(notes) - told) <= len(aftermath.technicians)
    assert set(notes.values()) == {1}


def test_a_repeat_gets_the_answer_that_was_acknowledged(aftermath: Aftermath) -> None:
    told = acknowledged(aftermath)
    assert {key: answer.text for key, answer in aftermath.replayed.items()} == {
        key: text for key, (_, text) in told.items()
    }
    assert {answer.status_code for answer in aftermath.replayed.values()} == {201}
    assert {answer.headers.get("Idempotency-Replayed") for answer in aftermath.replayed.values()} == {"true"}


def test_each_close_out_took_one_element_from_stock_and_fitted_one(aftermath: Aftermath) -> None:
    told = rows(aftermath.file, "SELECT id, position, at FROM close_outs")
    movements = rows(aftermath.file, "SELECT source, part_number, lot, quantity FROM stock_movements")
    assert sorted(movements) == sorted((f"close-out {id_}", ELEMENT, LOT, -1) for id_, _, _ in told)
    fitted = rows(
        aftermath.file,
        "SELECT position, fitted_at, count(*) FROM installations WHERE superseded_at IS NULL AND fitted_at > "
        "(SELECT min(fitted_at) FROM installations) GROUP BY position, fitted_at",
    )
    assert sorted(fitted) == sorted((position, at, 1) for _, position, at in told)
    assert len(told) < ON_HAND, "the store ran out, and movements no longer tell"
    assert counts(aftermath.file, "stock_discrepancies") == {"stock_discrepancies": 0}


def test_each_position_holds_one_element_and_each_earlier_one_came_out_when_the_next_went_in(
    aftermath: Aftermath,
) -> None:
    for position in POSITIONS:
        stays = rows(
            aftermath.file,
            "SELECT fitted_at, removed_at FROM installations "  # noqa: S608
            f"WHERE superseded_at IS NULL AND position = '{position}' ORDER BY fitted_at",
        )
        assert [removed for _, removed in stays[:-1]] == [fitted for fitted, _ in stays[1:]]
        assert stays[-1][1] is None


def test_nothing_is_half_written(aftermath: Aftermath) -> None:
    file = aftermath.file
    closed = counts(file, "close_outs")["close_outs"]
    done = rows(file, "SELECT count(*) FROM tasks WHERE state = 'done'")
    answers = rows(file, "SELECT count(*) FROM kept_answers")
    readings = rows(file, "SELECT count(*) FROM meter_readings WHERE source LIKE 'close-out %'")
    planned = rows(file, "SELECT count(DISTINCT cause) FROM passes WHERE cause LIKE 'close-out %'")
    assert (done, answers, readings, planned) == ([(closed,)],) * 4
    orphans = rows(
        file,
        "SELECT source FROM (SELECT source FROM stock_movements UNION SELECT source FROM installations "
        "UNION SELECT source FROM meter_readings) WHERE source LIKE 'close-out %' "
        "AND source NOT IN (SELECT 'close-out ' || id FROM close_outs)",
    )
    assert orphans == []
    still_open = rows(
        file,
        "SELECT w.id FROM work_orders w WHERE w.state = 'done' "
        "AND EXISTS (SELECT 1 FROM tasks t WHERE t.work_order = w.id AND t.state = 'open')",
    )
    assert still_open == []
