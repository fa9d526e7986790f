"""The service over the tiny plant, asked in process: the rooms' own functions, with no HTTP between."""

from collections import Counter
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy import event

from scheduler.vocabulary import Scope
from service.database import Database
from service.due.planning_pass import run_pass
from service.due.tables import passes
from service.imports.importing import import_folder
from service.keys.keeping import Caller
from service.stock.booking import oil_lots
from service.stock.queries import free_lots, shelf_lots
from tests.databases import copy_database, url_at
from tests.flow.any_order.books import Books, read_books
from tests.flow.any_order.promises import Shelves
from tests.flow.any_order.tiny_plant import tiny_plant
from tests.flow.running_plant import make_empty
from tests.flow.small_folder import NOW, SmallPlant, Tables

CALLER = Caller("walker", frozenset(Scope))
A_MOMENT_ON = timedelta(milliseconds=1)
"""Versions of a fact that became known at one moment follow each other by microseconds."""


class _Undo(Exception):
    """Ends a transaction without keeping anything."""


@dataclass(frozen=True, slots=True)
class Shown:
    """What the service says is on the shelves."""

    shelves: Shelves
    free: Shelves
    least_oil_L: float


class PlantInHand:
    """One open database, put back to the prepared plant before each walk; `done` counts what happened in all."""

    def __init__(self, folder: Path) -> None:
        self._prepared, self._path = folder / "prepared.sqlite", folder / "plant.sqlite"
        self._told = folder / "told.zip"
        self.done: Counter[str] = Counter()
        make_empty(self._prepared)
        prepared = Database(url_at(self._prepared))
        self._fill(prepared)
        prepared.close()
        copy_database(self._prepared, self._path)
        self.database = Database(url_at(self._path))
        if self.database.is_sqlite:
            # what a power cut would lose, the next walk makes again; waiting for the disk takes most of a step
            event.listen(self.database.engine, "connect", lambda raw, _: raw.execute("PRAGMA synchronous=OFF"))

    def _fill(self, prepared: Database) -> None:
        self._told.write_bytes(tiny_plant(NOW).zipped())
        import_folder(prepared, self._told, name="the plant", now=NOW, by=CALLER.name)
        with prepared.writing() as connection:
            run_pass(connection, as_of=NOW, now=NOW, cause="the first", by=CALLER.name)

    def begin_again(self) -> None:
        self.database.close()
        copy_database(self._prepared, self._path)

    def close(self) -> None:
        self.database.close()

    def books(self) -> Books:
        with self.database.reading() as connection:
            return read_books(connection)

    def shown(self, now: datetime) -> Shown:
        with self.database.reading() as connection:
            shelves = shelf_lots(connection, now + A_MOMENT_ON)
            free = free_lots(connection, now + A_MOMENT_ON)
            oil = oil_lots(connection, now + A_MOMENT_ON)
        return Shown(
            {(lot.part_number, lot.store, lot.lot): lot.quantity for lot in shelves},
            {(lot.part_number, lot.store, lot.lot): lot.quantity for lot in free},
            min((lot.left_L for lot in oil), default=0.0),
        )

    def take_in(self, now: datetime, tables: Tables) -> None:
        """Import a folder."""
        self._told.write_bytes(SmallPlant(now, tables).zipped())
        import_folder(self.database, self._told, name="told", now=now, by=CALLER.name)

    def take_in_again(self, now: datetime) -> None:
        """Import the last folder once more."""
        import_folder(self.database, self._told, name="told", now=now, by=CALLER.name)

    def plan(self, now: datetime, system: str | None) -> None:
        with self.database.writing() as connection:
            run_pass(connection, as_of=now, now=now, cause="walk", by=CALLER.name, systems=_scope(system))

    def after_planning_again(self, system: str | None) -> Books:
        """The books as a pass at the moment of the last one would leave them; it is not kept."""
        again: list[Books] = []
        with suppress(_Undo), self.database.writing() as connection:
            last = sa.select(passes.c.as_of).order_by(passes.c.id.desc()).limit(1)
            as_of = connection.execute(last).scalar_one()
            run_pass(connection, as_of=as_of, now=as_of, cause="again", by=CALLER.name, systems=_scope(system))
            again.append(read_books(connection))
            raise _Undo
        return again[0]


def _scope(system: str | None) -> frozenset[str] | None:
    return None if system is None else frozenset({system})
