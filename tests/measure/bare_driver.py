"""The readings of an imported plant into an empty table of the same shape, by the database's driver alone.

The table has the same columns, indices and foreign keys, and the connection the same settings; only what the service
does around the insert is missing. What the driver is given lies in memory before the clock starts, moments as text:
nothing is timed but the driver and its database.
"""

import sqlite3
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from datetime import datetime
from itertools import islice
from typing import Any

import psycopg
import sqlalchemy as sa
from sqlalchemy.engine import make_url

from service.database import Database
from service.migrating import migrate
from service.plant_folder.tables import TABLE

REFERRED_TO = ("plants", "fluids", "systems", "element_types", "positions")

Rows = Sequence[tuple[Any, ...]]
Load = Callable[[str, list[str], Rows], float]
"""Of an address, the columns in quotation marks and the rows: the seconds to load them and have them on the disk."""

_CHUNK_ROWS = 10_000
_COPY_ESCAPES = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})


def executemany(address: str, names: list[str], rows: Rows) -> float:
    """One INSERT for all rows, in one transaction."""
    return (_executemany_sqlite if address.startswith("sqlite") else _executemany_postgresql)(address, names, rows)


def _executemany_sqlite(address: str, names: list[str], rows: Rows) -> float:
    with closing(sqlite3.connect(make_url(address).database or "", isolation_level=None)) as target:
        for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):  # as service.database has them
            target.execute(f"PRAGMA {pragma}")
        statement = f"INSERT INTO dp_readings ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"  # noqa: S608 - own names
        began = time.perf_counter()
        target.execute("BEGIN IMMEDIATE")
        target.executemany(statement, rows)
        target.execute("COMMIT")
        return time.perf_counter() - began


def _executemany_postgresql(address: str, names: list[str], rows: Rows) -> float:
    statement = f"INSERT INTO dp_readings ({', '.join(names)}) VALUES ({', '.join(['%s'] * len(names))})"  # noqa: S608 - own names
    with psycopg.connect(address) as target:
        began = time.perf_counter()
        with target.cursor() as cursor:
            cursor.executemany(statement.encode(), rows)
        target.commit()
        return time.perf_counter() - began


def copy_rows(address: str, names: list[str], rows: Rows) -> float:
    """PostgreSQL's COPY, of which the driver writes each row."""
    with psycopg.connect(address) as target:
        began = time.perf_counter()
        with target.cursor() as cursor, cursor.copy(_copy(names)) as copy:
            for row in rows:
                copy.write_row(row)
        target.commit()
        return time.perf_counter() - began


def copy_text(address: str, names: list[str], rows: Rows) -> float:
    """PostgreSQL's COPY of text that somebody has written before: what the server alone takes."""
    left = iter(rows)
    chunks = iter(lambda: "".join(map(_copied_line, islice(left, _CHUNK_ROWS))), "")
    ready = [chunk.encode() for chunk in chunks]
    with psycopg.connect(address) as target:
        began = time.perf_counter()
        with target.cursor() as cursor, cursor.copy(_copy(names)) as copy:
            for chunk in ready:
                copy.write(chunk)
        target.commit()
        return time.perf_counter() - began


def _copy(names: list[str]) -> bytes:
    return f"COPY dp_readings ({', '.join(names)}) FROM STDIN".encode()


def _copied_line(row: tuple[Any, ...]) -> str:
    """A line of COPY's text format (PostgreSQL's manual, COPY, "Text Format"); true and false may be written out."""
    told = (r"\N" if value is None else str(value).translate(_COPY_ESCAPES) for value in row)
    return "\t".join(told) + "\n"


def load_again(load: Load, imported: str, empty: str) -> tuple[float, int]:
    """The readings of the database at `imported` into the one at `empty`: the seconds of `load`, and the rows."""
    with closing(Database(imported)) as source, closing(Database(empty)) as target:
        migrate(target)
        with source.reading() as connection, target.writing() as prepared:
            for name in REFERRED_TO:
                referred = [dict(row) for row in connection.execute(sa.select(TABLE[name])).mappings()]
                prepared.execute(sa.insert(TABLE[name]), referred)
            names = [f'"{column.name}"' for column in TABLE["dp_readings"].columns if column.name != "id"]
            query = f"SELECT {', '.join(names)} FROM dp_readings ORDER BY id"  # noqa: S608 - own names
            rows = [_as_text(row) for row in connection.exec_driver_sql(query)]
    return load(empty.replace("postgresql+psycopg", "postgresql"), names, rows), len(rows)


def _as_text(row: sa.Row[Any]) -> tuple[Any, ...]:
    return tuple([value.isoformat(" ") if isinstance(value, datetime) else value for value in row])
