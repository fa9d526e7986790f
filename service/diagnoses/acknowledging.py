"""What a person says to a diagnosis: it is known, or it is open again."""

from collections.abc import Mapping
from datetime import datetime

import sqlalchemy as sa

from service.clock.turn import moment_of_turn
from service.conditional import refuse_another_version
from service.diagnoses.keeping import NOT_ACKNOWLEDGED
from service.diagnoses.tables import diagnoses, diagnosis_remarks
from service.due.planning_pass import run_pass
from service.problems import InTheWay, NotFound


def acknowledge(
    connection: sa.Connection, id_: int, note: str, *, now: datetime, by: str, if_version: int | None = None
) -> None:
    """Somebody knows of it. It stands on until the data clear it, and the work that it asked for stays. The same
    note of the same person again changes nothing.

    Raises NotFound, ChangedMeanwhile where `if_version` is not its version, InTheWay where it was cleared.
    """
    row = _standing(connection, id_, if_version)
    if (row["acknowledged_by"], row["acknowledged_note"]) == (by, note):
        return
    now = moment_of_turn(connection, now)
    known = {"acknowledged_at": now, "acknowledged_by": by, "acknowledged_note": note}
    _say(connection, row, now, by, note, acknowledges=True)
    _write(connection, row, known, now, by)


def open_again(
    connection: sa.Connection, id_: int, note: str, *, now: datetime, by: str, if_version: int | None = None
) -> None:
    """It asks for a look as if nobody had acknowledged it. Raises as `acknowledge`, and InTheWay where nobody had."""
    row = _standing(connection, id_, if_version)
    if row["acknowledged_at"] is None:
        raise InTheWay(f"diagnosis {id_} is not acknowledged, so that there is nothing to open again")
    now = moment_of_turn(connection, now)
    _say(connection, row, now, by, note, acknowledges=False)
    _write(connection, row, NOT_ACKNOWLEDGED, now, by)


def _standing(connection: sa.Connection, id_: int, if_version: int | None) -> sa.RowMapping:
    row = connection.execute(sa.select(diagnoses).where(diagnoses.c.id == id_)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"there is no diagnosis {id_}")
    refuse_another_version(f"diagnosis {id_}", row["version"], if_version)
    if row["cleared_at"] is not None:
        cleared = row["cleared_at"].isoformat(timespec="seconds")
        raise InTheWay(f"diagnosis {id_} was cleared by the data at {cleared}; there is nothing to acknowledge")
    return row


def _say(
    connection: sa.Connection, row: sa.RowMapping, now: datetime, by: str, note: str, *, acknowledges: bool
) -> None:
    remark = {"diagnosis": row["id"], "at": now, "by": by, "note": note, "acknowledges": acknowledges}
    connection.execute(sa.insert(diagnosis_remarks).values(**remark))


def _write(
    connection: sa.Connection, row: sa.RowMapping, values: Mapping[str, object], now: datetime, by: str
) -> None:
    """And plan the system anew, so that the due list says it, too."""
    written = {**values, "version": row["version"] + 1}
    connection.execute(sa.update(diagnoses).where(diagnoses.c.id == row["id"]).values(**written))
    systems = frozenset({row["system"]})
    run_pass(connection, as_of=now, now=now, cause=f"diagnosis {row['id']}", by=by, systems=systems)
