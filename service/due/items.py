"""Due items between the planner, the table and the wire."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import sqlalchemy as sa

from api_schemas.diagnoses import Acknowledged
from api_schemas.due import DiagnosisNote, DueItem, Pressure
from scheduler.planning import due
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import DisplayUnits
from service.diagnoses.keeping import URGENCY, Kept, Subject, subject_of
from service.due.wording import Wording
from service.plant_store.time import from_day

Note = dict[str, Any]
"""A diagnosis in the table's row: codes and numbers, its number, and who knows of it since when."""


def due_row(columns: PlantColumns, item: due.DueItem, notes: list[Note], as_of: datetime) -> dict[str, Any]:
    """The table's row of an item; the reason and the diagnoses stay codes and numbers."""
    system = int(columns.positions.system[item.position])
    plant = int(columns.systems.plant[system])
    low, middle, high = item.pressure_hours_left or (None, None, None)
    return {
        "position": columns.positions.code[item.position],
        "system": columns.systems.code[system],
        "plant": columns.plants.code[plant],
        "time_zone": columns.plants.zone[plant],
        "part_number": item.part_number,
        "as_of": as_of,
        "due_at": _moment(item.due_day, as_of),
        "due_early": _moment(item.early_day, as_of),
        "due_median": _moment(item.median_day, as_of),
        "due_late": _moment(item.late_day, as_of),
        "hours_left": item.hours_left,
        "overdue_hours": item.overdue_hours,
        "trigger": item.trigger,
        "runner_up": item.runner_up,
        "without_trigger_at": _moment(item.without_trigger_day, as_of),
        "has_pressure": item.pressure_hours_left is not None,
        "pressure_hours_left_10": low,
        "pressure_hours_left_50": middle,
        "pressure_hours_left_90": high,
        "because": item.because,
        "diagnoses": sorted(notes, key=lambda note: (URGENCY[note["severity"]], note["code"])),
    }


def notes_by_position(
    columns: PlantColumns, diagnoses: tuple[Diagnosis, ...], kept: Mapping[Subject, Kept]
) -> dict[int, list[Note]]:
    """A system's diagnosis stands at each of its positions; `kept` are those that stand in the record."""
    found: dict[int, list[Note]] = {}
    for diagnosis in diagnoses:
        at = (
            [diagnosis.position]
            if diagnosis.position >= 0
            else [int(row) for row in np.flatnonzero(columns.positions.system == diagnosis.system)]
        )
        note = _note(diagnosis, kept.get(subject_of(columns, diagnosis)))
        for position in at:
            found.setdefault(position, []).append(note)
    return found


def _note(diagnosis: Diagnosis, kept: Kept | None) -> Note:
    says = {"code": diagnosis.code, "severity": diagnosis.severity.value, "numbers": diagnosis.numbers}
    if kept is None:
        return says
    if kept.acknowledged_at is None:
        return says | {"id": kept.id}
    known = {
        "at": kept.acknowledged_at.isoformat(),
        "by": kept.acknowledged_by,
        "note": kept.acknowledged_note,
    }
    return says | {"id": kept.id, "acknowledged": known}


def wire_item(row: sa.RowMapping | dict[str, Any], display_units: DisplayUnits) -> DueItem:
    """A row as the wire's item: times in the plant's zone, the reason in words."""
    zone = ZoneInfo(row["time_zone"])
    wording = Wording(zone, display_units)

    def at(name: str) -> datetime | None:
        moment: datetime | None = row[name]
        return None if moment is None else moment.astimezone(zone)

    return DueItem(
        position=row["position"],
        system=row["system"],
        plant=row["plant"],
        part_number=row["part_number"],
        as_of=row["as_of"].astimezone(zone),
        due_at=at("due_at"),
        due_early=at("due_early"),
        due_median=at("due_median"),
        due_late=at("due_late"),
        hours_left=row["hours_left"],
        overdue_hours=row["overdue_hours"],
        trigger=row["trigger"],
        runner_up=row["runner_up"],
        without_trigger_at=at("without_trigger_at"),
        reason=wording.reason(row["because"]),
        pressure=Pressure(
            hours_left_10=row["pressure_hours_left_10"],
            hours_left_50=row["pressure_hours_left_50"],
            hours_left_90=row["pressure_hours_left_90"],
        )
        if row["has_pressure"]
        else None,
        diagnoses=[_wire_note(note, wording) for note in row["diagnoses"]],
    )


def _wire_note(note: Note, wording: Wording) -> DiagnosisNote:
    known = note.get("acknowledged")
    return DiagnosisNote(
        id=note.get("id"),
        code=note["code"],
        severity=note["severity"],
        says=wording.diagnosis(note["code"], note["numbers"]),
        acknowledged=(
            None
            if known is None
            else Acknowledged(
                at=datetime.fromisoformat(known["at"]).astimezone(wording.zone), by=known["by"], note=known["note"]
            )
        ),
    )


def _moment(day: float | None, as_of: datetime) -> datetime | None:
    if day is None:
        return None
    moment = from_day(day)
    return as_of if abs(moment - as_of) < timedelta(seconds=1) else moment  # now is now, not the next full second
