"""Installations: what sits in each position now, and the lives that ended."""

from collections.abc import Sequence
from datetime import datetime

import numpy as np
import sqlalchemy as sa

from scheduler.planning import plant_columns as columns
from scheduler.vocabulary import RemovalReason
from service.database import rows_known_at
from service.plant_folder import tables as t
from service.plant_store.codes import Codes
from service.plant_store.rows import Row, days, every, flags, indices
from service.plant_store.time import to_day


def load_installations(connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None) -> Sequence[Row]:
    return installation_rows(connection, rows_known_at(t.installations, as_of), systems)


def installation_rows(
    connection: sa.Connection, versions: sa.ColumnElement[bool], systems: frozenset[str] | None
) -> Sequence[Row]:
    """These versions of installations, each with its position's system and meter, in order of fitting."""
    query = (
        sa.select(t.installations, t.positions.c.system, t.positions.c.meter)
        .join(t.positions, t.positions.c.position == t.installations.c.position)
        .where(versions)
        .order_by(t.installations.c.position, t.installations.c.fitted_at, t.installations.c.id)
    )
    if systems is not None:
        query = query.where(t.positions.c.system.in_(sorted(systems)))
    return every(connection, query)


def load_fitted(
    connection: sa.Connection, position_rows: Sequence[Row], codes: Codes, current: dict[str, Row], as_of: datetime
) -> columns.FittedRows:
    rows = [current.get(row["position"]) for row in position_rows]
    as_of_day = to_day(as_of)
    expires_day = _lots_expire(connection, as_of)
    return columns.FittedRows(
        fitted_day=np.array([np.nan if row is None else min(to_day(row["fitted_at"]), as_of_day) for row in rows]),
        is_date=flags(row is not None and row["fitted_at_is_date"] for row in rows),
        type=indices(
            -1 if row is None else codes.types[row["part_number"] or position["part_number"]]
            for row, position in zip(rows, position_rows, strict=True)
        ),
        lot=tuple("" if row is None else row["lot"] or "" for row in rows),
        lot_expires_day=np.array(
            [np.nan if row is None else expires_day.get((row["part_number"], row["lot"]), np.nan) for row in rows]
        ),
    )


def _lots_expire(connection: sa.Connection, as_of: datetime) -> dict[tuple[str, str], float]:
    """The day on which each lot expires, the latest that any store's count says."""
    counts = t.stock
    query = (
        sa.select(counts.c.part_number, counts.c.lot, sa.func.max(counts.c.expires_at).label("expires_at"))
        .where(rows_known_at(counts, as_of), counts.c.expires_at.is_not(None))
        .group_by(counts.c.part_number, counts.c.lot)
    )
    return {(row["part_number"], row["lot"]): to_day(row["expires_at"]) for row in every(connection, query)}


def load_lives(ended: Sequence[Row], position_rows: Sequence[Row], codes: Codes) -> columns.FinishedLives:
    specified = {row["position"]: row["part_number"] for row in position_rows}
    return columns.FinishedLives(
        position=indices(codes.positions[row["position"]] for row in ended),
        type=indices(codes.types[row["part_number"] or specified[row["position"]]] for row in ended),
        fitted_day=days(ended, "fitted_at"),
        fitted_is_date=flags(row["fitted_at_is_date"] for row in ended),
        removed_day=days(ended, "removed_at"),
        removed_is_date=flags(row["removed_at_is_date"] or False for row in ended),
        reason=tuple(RemovalReason(row["reason"] or RemovalReason.UNKNOWN) for row in ended),
    )
