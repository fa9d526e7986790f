"""Reading diagnoses: those that stand, the most urgent first, and those that were cleared."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from fastapi import Depends, Query

from api_schemas.diagnoses import Acknowledged, Diagnosis, DiagnosisList, Remark, Standing
from scheduler.vocabulary import DisplayUnits
from service.cursors import read_cursor, write_cursor
from service.dependencies import OnlyPlant
from service.diagnoses.keeping import URGENCY
from service.diagnoses.tables import diagnoses, diagnosis_remarks
from service.due.wording import Wording
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.plant_store.time import from_day
from service.problems import NotFound

LONGEST_PAGE = 500

_urgency = sa.case(URGENCY, value=diagnoses.c.severity).label("urgency")

_STANDS = diagnoses.c.cleared_at.is_(None)
_WHERE = {
    Standing.UNSEEN: _STANDS & diagnoses.c.acknowledged_at.is_(None),
    Standing.ACKNOWLEDGED: _STANDS & diagnoses.c.acknowledged_at.is_not(None),
    Standing.CLEARED: diagnoses.c.cleared_at.is_not(None),
}


@dataclass(frozen=True, slots=True)
class Chosen:
    """What was asked for; None where it does not matter."""

    plant: OnlyPlant
    system: Annotated[str | None, Query(max_length=200, description="Only this system's.")] = None
    position: Annotated[str | None, Query(max_length=200, description="Only this position's.")] = None
    code: Annotated[str | None, Query(max_length=200, description="Only of this code.")] = None
    standing: Annotated[
        list[Standing] | None, Query(description="Only these; by default all that stand, acknowledged or not.")
    ] = None

    def where(self, caller: Caller) -> sa.ColumnElement[bool]:
        chosen = caller.only(t.systems.c.plant) & (
            sa.or_(*(_WHERE[each] for each in self.standing)) if self.standing else _STANDS
        )
        asked = (
            (t.systems.c.plant, self.plant),
            (diagnoses.c.system, self.system),
            (diagnoses.c.position, self.position),
            (diagnoses.c.code, self.code),
        )
        return sa.and_(chosen, *(column == value for column, value in asked if value is not None))


ChosenDiagnoses = Annotated[Chosen, Depends()]


def diagnoses_page(
    connection: sa.Connection, caller: Caller, chosen: Chosen, *, limit: int, cursor: str | None
) -> DiagnosisList:
    """What the caller sees of them, by urgency and in order of raising."""
    where = chosen.where(caller)
    if cursor is not None:
        urgency, id_ = read_cursor(cursor, "diagnoses", int, int)
        where &= (_urgency > urgency) | ((_urgency == urgency) & (diagnoses.c.id > id_))
    query = _all().where(where).order_by(_urgency, diagnoses.c.id).limit(limit + 1)
    rows = connection.execute(query).mappings().all()
    page = rows[:limit]
    last = page[-1] if len(rows) > limit else None
    return DiagnosisList(
        items=_told(connection, page),
        next=None if last is None else write_cursor("diagnoses", last["urgency"], last["id"]),
    )


def diagnosis_of(connection: sa.Connection, id_: int) -> Diagnosis:
    """One, whether it stands or not. Raises NotFound."""
    rows = connection.execute(_all().where(diagnoses.c.id == id_)).mappings().all()
    if not rows:
        raise NotFound(f"there is no diagnosis {id_}")
    (found,) = _told(connection, rows)
    return found


def _all() -> sa.Select[Any]:
    return (
        sa.select(diagnoses, _urgency, t.systems.c.plant, t.plants.c.time_zone, t.plants.c.display_units)
        .join(t.systems, t.systems.c.system == diagnoses.c.system)
        .join(t.plants, t.plants.c.plant == t.systems.c.plant)
    )


def _told(connection: sa.Connection, rows: Iterable[sa.RowMapping]) -> list[Diagnosis]:
    rows = list(rows)
    said: dict[int, list[sa.RowMapping]] = {row["id"]: [] for row in rows}
    of_these = sa.select(diagnosis_remarks).where(diagnosis_remarks.c.diagnosis.in_(said))
    for remark in connection.execute(of_these.order_by(diagnosis_remarks.c.id)).mappings():
        said[remark["diagnosis"]].append(remark)
    return [_one(row, said[row["id"]]) for row in rows]


def _one(row: sa.RowMapping, remarks: Iterable[sa.RowMapping]) -> Diagnosis:
    zone = ZoneInfo(row["time_zone"])
    wording = Wording(zone, DisplayUnits(row["display_units"] or DisplayUnits.METRIC))
    at: datetime | None = row["acknowledged_at"]
    cleared_at: datetime | None = row["cleared_at"]
    return Diagnosis(
        id=row["id"],
        version=row["version"],
        plant=row["plant"],
        system=row["system"],
        position=row["position"] or None,
        code=row["code"],
        severity=row["severity"],
        says=wording.diagnosis(row["code"], row["numbers"]),
        evidence=_with_times(row["numbers"], zone),
        raised_at=row["raised_at"].astimezone(zone),
        cleared_at=None if cleared_at is None else cleared_at.astimezone(zone),
        acknowledged=(
            None
            if at is None
            else Acknowledged(at=at.astimezone(zone), by=row["acknowledged_by"], note=row["acknowledged_note"])
        ),
        remarks=[
            Remark(
                at=remark["at"].astimezone(zone),
                by=remark["by"],
                note=remark["note"],
                acknowledges=remark["acknowledges"],
            )
            for remark in remarks
        ],
    )


def _with_times(numbers: Any, zone: ZoneInfo) -> Any:
    """Days as times: `at_day` becomes `at`."""
    if isinstance(numbers, list):
        return [_with_times(each, zone) for each in numbers]
    if not isinstance(numbers, dict):
        return numbers
    return {
        name.removesuffix("_day"): (
            from_day(value).astimezone(zone).isoformat(timespec="minutes")
            if name.endswith("_day") and value is not None
            else _with_times(value, zone)
        )
        for name, value in numbers.items()
    }
