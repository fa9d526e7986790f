"""A folder that is broken on purpose, imported into a plant that stands: what is told, and what is left as it was."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from service.database import Database
from service.imports.importing import import_folder
from service.migrating import migrate
from service.plant_folder.refusals import FolderRefused
from service.schema import TABLES
from tests.databases import url_at
from tests.service.plant_folder.invented_plant import NOW, write_folder

WriteFolder = Callable[[Path], Path]

STANDS = {"installations": "position,fitted_at,part_number\nPRESS-R1,2026-02-05T10:00,E-10\n"}
"""What the standing plant has besides the tables of the invented one."""


@contextmanager
def standing_plant(at: Path) -> Iterator[Database]:
    """The invented plant, imported, with an element in one of its positions."""
    database = Database(url_at(at / "plant.sqlite"))
    migrate(database)
    import_folder(database, write_folder(at / "good", dict(STANDS)), name="good", now=NOW, by="test")
    yield database
    database.close()


def folder_with(**tables: str | bytes | None) -> WriteFolder:
    return lambda at: write_folder(at / "broken", dict(tables))


def everything(database: Database) -> dict[str, list[tuple[Any, ...]]]:
    with database.reading() as connection:
        return {table.name: [tuple(row) for row in connection.execute(sa.select(table))] for table in TABLES}


def refused_without_a_change(database: Database, folder: Path) -> FolderRefused:
    """The refusal of an import that must not succeed, after which every row of every table is what it was."""
    before = everything(database)
    try:
        import_folder(database, folder, name=folder.name, now=NOW, by="test")
    except FolderRefused as refused:
        assert everything(database) == before
        return refused
    raise AssertionError(f"{folder.name} was taken")
