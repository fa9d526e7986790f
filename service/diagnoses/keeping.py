"""Raise what a pass newly finds, clear what it no longer finds."""

from datetime import datetime

import sqlalchemy as sa

from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.plant_columns import PlantColumns
from service.diagnoses.tables import diagnoses


def keep_diagnoses(
    connection: sa.Connection, columns: PlantColumns, found: tuple[Diagnosis, ...], now: datetime
) -> None:
    """Bring the diagnoses that stand for the systems in `columns` in line with `found`."""
    standing = {
        (row["system"], row["position"], row["code"]): row
        for row in connection.execute(
            sa.select(diagnoses).where(diagnoses.c.cleared_at.is_(None), diagnoses.c.system.in_(columns.systems.code))
        ).mappings()
    }
    wanted = {
        (
            columns.systems.code[diagnosis.system],
            columns.positions.code[diagnosis.position] if diagnosis.position >= 0 else "",
            diagnosis.code,
        ): diagnosis
        for diagnosis in found
    }
    for key, row in standing.items():
        values = (
            {"numbers": wanted[key].numbers, "severity": wanted[key].severity}
            if key in wanted
            else {"cleared_at": now}
        )
        if any(row[name] != value for name, value in values.items()):
            connection.execute(sa.update(diagnoses).where(diagnoses.c.id == row["id"]).values(**values))
    rows = [
        {
            "system": system,
            "position": position,
            "code": code,
            "severity": diagnosis.severity,
            "numbers": diagnosis.numbers,
            "raised_at": now,
        }
        for (system, position, code), diagnosis in wanted.items()
        if (system, position, code) not in standing
    ]
    if rows:
        connection.execute(sa.insert(diagnoses), rows)
