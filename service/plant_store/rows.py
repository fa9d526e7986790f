"""Rows of a query as columns; a null becomes NaN, an empty text or the default that is named."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import sqlalchemy as sa

from scheduler.planning.plant_columns import Flags, Floats, Ints
from service.plant_store.time import to_day

Row = sa.RowMapping


def every(connection: sa.Connection, query: sa.Select[Any]) -> Sequence[Row]:
    return connection.execute(query).mappings().all()


def within(query: sa.Select[Any], column: sa.ColumnElement[Any], systems: frozenset[str] | None) -> sa.Select[Any]:
    query = query.order_by(column)
    return query if systems is None else query.where(column.in_(sorted(systems)))


def floats(rows: Iterable[Row], name: str) -> Floats:
    return np.array([np.nan if row[name] is None else row[name] for row in rows], dtype=np.float64)


def filled(rows: Iterable[Row], name: str, default: float) -> Floats:
    return np.array([default if row[name] is None else row[name] for row in rows], dtype=np.float64)


def texts(rows: Iterable[Row], name: str) -> tuple[str, ...]:
    return tuple(row[name] or "" for row in rows)


def indices(values: Iterable[int]) -> Ints:
    return np.array(list(values), dtype=np.intp)


def days(rows: Iterable[Row], name: str) -> Floats:
    return np.array([np.nan if row[name] is None else to_day(row[name]) for row in rows], dtype=np.float64)


def offsets(owner: Ints, owners: int) -> Ints:
    return np.concatenate([[0], np.cumsum(np.bincount(owner, minlength=owners))]).astype(np.intp)


def flags(values: Iterable[bool]) -> Flags:
    return np.array(list(values), dtype=bool)
