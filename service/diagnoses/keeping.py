"""Raise what a pass newly finds, clear what it no longer finds."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import Severity
from service.diagnoses.tables import diagnoses

Subject = tuple[str, str, str]
"""System, position (empty for the whole system) and code: of these one stands at a time."""

URGENCY = {Severity.NOW.value: 0, Severity.SOON.value: 1, Severity.NOTE.value: 2}
"""The most urgent first."""

NOT_ACKNOWLEDGED = {"acknowledged_at": None, "acknowledged_by": None, "acknowledged_note": None}


@dataclass(frozen=True, slots=True)
class Kept:
    """A diagnosis that stands, and who knows of it."""

    id: int
    acknowledged_at: datetime | None
    acknowledged_by: str | None
    acknowledged_note: str | None


def keep_diagnoses(
    connection: sa.Connection, columns: PlantColumns, found: tuple[Diagnosis, ...], now: datetime
) -> dict[Subject, Kept]:
    """Bring the diagnoses that stand for the systems in `columns` in line with `found`, and give what then stands."""
    standing = _standing(connection, columns)
    wanted = {subject_of(columns, diagnosis): diagnosis for diagnosis in found}
    for subject, row in standing.items():
        values = _news(row, wanted[subject]) if subject in wanted else {"cleared_at": now}
        if values:
            values["version"] = row["version"] + 1
            connection.execute(sa.update(diagnoses).where(diagnoses.c.id == row["id"]).values(**values))
    rows = [
        {
            "system": subject[0],
            "position": subject[1],
            "code": subject[2],
            "severity": diagnosis.severity,
            "numbers": diagnosis.numbers,
            "raised_at": now,
        }
        for subject, diagnosis in wanted.items()
        if subject not in standing
    ]
    if rows:
        connection.execute(sa.insert(diagnoses), rows)
    return {
        subject: Kept(row["id"], row["acknowledged_at"], row["acknowledged_by"], row["acknowledged_note"])
        for subject, row in _standing(connection, columns).items()
    }


def subject_of(columns: PlantColumns, diagnosis: Diagnosis) -> Subject:
    position = columns.positions.code[diagnosis.position] if diagnosis.position >= 0 else ""
    return columns.systems.code[diagnosis.system], position, diagnosis.code


def _standing(connection: sa.Connection, columns: PlantColumns) -> dict[Subject, sa.RowMapping]:
    query = sa.select(diagnoses).where(diagnoses.c.cleared_at.is_(None), diagnoses.c.system.in_(columns.systems.code))
    rows = connection.execute(query).mappings()
    return {(row["system"], row["position"], row["code"]): row for row in rows}


def _news(row: sa.RowMapping, diagnosis: Diagnosis) -> dict[str, Any]:
    """What differs. Who knew of it when it was less urgent has to be told again."""
    said = {"numbers": diagnosis.numbers, "severity": diagnosis.severity}
    values: dict[str, Any] = {name: value for name, value in said.items() if row[name] != value}
    is_worse = URGENCY[diagnosis.severity] < URGENCY[row["severity"]]
    return values | NOT_ACKNOWLEDGED if is_worse else values
