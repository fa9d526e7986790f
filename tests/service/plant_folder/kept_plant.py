"""A database that takes plant folders in and gives them back, for tests of what is kept between two imports."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from service.database import Database, current_rows, rows_known_at
from service.plant_folder.fluid_checks import check_fluids
from service.plant_folder.known_now import known_now
from service.plant_folder.merging import MergeOutcome, merge_folder
from service.plant_folder.reading import read_folder
from service.plant_folder.stay_checks import check_stays
from service.plant_folder.tables import TABLE
from service.plant_folder.writing import write_folder as export_folder
from service.schema import metadata
from tests.databases import url_at
from tests.service.plant_folder.invented_plant import NOW, write_folder

LATER = NOW + timedelta(days=3)


@contextmanager
def kept(at: Path) -> Iterator[Database]:
    """An empty database at `at`."""
    with closing(Database(url_at(at))) as database:
        metadata.create_all(database.engine)
        yield database


def take(database: Database, folder: Path, *, now: datetime = NOW) -> MergeOutcome:
    """An import as the service does it: read, merge and check in one transaction."""
    with database.writing() as connection:
        read = read_folder(folder, known_now(connection), now=now)
        outcome = merge_folder(connection, read, recorded_now=now, source="test")
        check_stays(connection, read)
        check_fluids(connection, read)
        return outcome


def take_tables(database: Database, at: Path, *, now: datetime = NOW, **tables: str | None) -> MergeOutcome:
    """The invented plant with other texts for some tables, written to `at` and taken in."""
    return take(database, write_folder(at, dict(tables)), now=now)


def take_only(database: Database, at: Path, *, now: datetime = NOW, **tables: str) -> MergeOutcome:
    """A folder of these tables alone."""
    at.mkdir()
    for name, text in tables.items():
        (at / f"{name}.csv").write_text(text, encoding="utf-8")
    return take(database, at, now=now)


def export(database: Database, target: Path) -> dict[str, int]:
    with database.reading() as connection:
        return export_folder(connection, target)


def texts(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def versions(database: Database, table: str) -> list[dict[str, Any]]:
    """Every version of a fact, the earliest first."""
    return _rows(database, sa.select(TABLE[table]).order_by(TABLE[table].c.recorded_at))


def current(database: Database, table: str) -> list[dict[str, Any]]:
    """What holds now."""
    query = sa.select(TABLE[table])
    return _rows(database, query.where(current_rows(TABLE[table])) if "superseded_at" in TABLE[table].c else query)


def known_on(database: Database, table: str, year: int, month: int, day: int) -> list[dict[str, Any]]:
    """What was known at 23:59 UTC of a day."""
    as_of = datetime(year, month, day, 23, 59, tzinfo=UTC)
    return _rows(database, sa.select(TABLE[table]).where(rows_known_at(TABLE[table], as_of)))


def _rows(database: Database, query: sa.Select[Any]) -> list[dict[str, Any]]:
    with database.reading() as connection:
        return [dict(row) for row in connection.execute(query).mappings()]
