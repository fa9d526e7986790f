"""The picture of a subject that the feed carries: all that a reader needs of it, times in UTC, nothing worded."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from service.close_outs.tables import close_out_corrections, close_outs
from service.diagnoses.tables import diagnoses
from service.plant_folder import tables as t
from service.plant_store.time import from_day
from service.work_orders.tables import oil_picks, picks, tasks, work_orders

_AT_ONCE = 400

Row = sa.RowMapping | Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Picture:
    """Of the subject with this number; `says` is what the feed carries of it."""

    number: int
    plant: str
    system: str
    position: str | None
    says: dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Kit:
    """What the open tasks of an order lack, and whether something is held for them."""

    lines: list[dict[str, Any]] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)


def orders_and_shortages(connection: sa.Connection, ids: Iterable[int]) -> Iterator[tuple[Picture, Picture]]:
    """Each of these orders with its open tasks, and what its kit lacks."""
    for chosen in _chunks(ids):
        query = sa.select(work_orders).where(work_orders.c.id.in_(chosen)).order_by(work_orders.c.id)
        is_open = sa.and_(tasks.c.work_order.in_(chosen), tasks.c.state == "open")
        own: dict[int, list[sa.RowMapping]] = {id_: [] for id_ in chosen}
        for row in connection.execute(sa.select(tasks).where(is_open).order_by(tasks.c.id)).mappings():
            own[row["work_order"]].append(row)
        kits = {id_: _Kit() for id_ in chosen}
        for table, line in ((picks, _part_line), (oil_picks, _oil_line)):
            of_order = sa.select(table, tasks.c.work_order).join(tasks, tasks.c.id == table.c.task)
            for row in connection.execute(of_order.where(is_open).order_by(table.c.id)).mappings():
                kits[row["work_order"]].held.append(row["reserved_at"] is not None)
                if row["store"] is None:
                    kits[row["work_order"]].lines.append({"task": row["task"], **line(row)})
        for row in connection.execute(query).mappings():
            kit = kits[row["id"]]
            place = (row["id"], row["plant"], row["system"], None)
            lacks = {"work_order": row["id"], "lines": kit.lines}
            yield Picture(*place, _order(row, own[row["id"]], kit)), Picture(*place, lacks)


def _order(row: Row, open_tasks: Sequence[Row], kit: _Kit) -> dict[str, Any]:
    stop = {"starts_at": utc(row["stop_starts_at"]), "ends_at": utc(row["stop_ends_at"])}
    return {
        "work_order": row["id"],
        "state": row["state"],
        "version": row["version"],
        "planned_for": utc(row["planned_for"]),
        "stop": None if row["stop_starts_at"] is None else stop,
        "acknowledged_at": utc(row["acknowledged_at"]),
        "external_ref": row["external_ref"],
        "note": row["note"],
        "kit_held": any(kit.held),
        "tasks": [
            {
                "id": task["id"],
                "kind": task["kind"],
                "position": task["position"] or None,
                "proposal": _proposal(task["proposal"]),
            }
            for task in open_tasks
        ],
    }


def _proposal(proposal: Mapping[str, Any] | None) -> dict[str, Any] | None:
    if proposal is None:
        return None
    to = from_day(proposal["planned_day"]) if "planned_day" in proposal else None
    return {"change": proposal["change"], "to": utc(to)}


def _part_line(row: Row) -> dict[str, Any]:
    return {"part_number": row["part_number"], "quantity": row["quantity"], **_supply(row)}


def _oil_line(row: Row) -> dict[str, Any]:
    return {"fluid": row["fluid"], "volume": {"value": round(row["volume_L"], 3), "unit": "L"}, **_supply(row)}


def _supply(row: Row) -> dict[str, Any]:
    return {"arrives_at": utc(row["arrives_at"]), "arrives_with": row["arrives_with"]}


def diagnoses_told(connection: sa.Connection, ids: Iterable[int]) -> Iterator[Picture]:
    """Diagnoses, whether they stand or not; `numbers` have their units in their names."""
    for chosen in _chunks(ids):
        query = (
            sa.select(diagnoses, t.systems.c.plant)
            .join(t.systems, t.systems.c.system == diagnoses.c.system)
            .where(diagnoses.c.id.in_(chosen))
            .order_by(diagnoses.c.id)
        )
        for row in connection.execute(query).mappings():
            position = row["position"] or None
            says = {
                "diagnosis": row["id"],
                "position": position,
                "code": row["code"],
                "severity": row["severity"],
                "numbers": row["numbers"],
                "raised_at": utc(row["raised_at"]),
                "cleared_at": utc(row["cleared_at"]),
                "acknowledged": None if row["acknowledged_at"] is None else _known(row),
            }
            yield Picture(row["id"], row["plant"], row["system"], position, says)


def _known(row: Row) -> dict[str, Any]:
    """Who knows of a diagnosis."""
    return {
        "at": utc(row["acknowledged_at"]),
        "by": row["acknowledged_by"],
        "note": row["acknowledged_note"],
    }


def close_outs_told(connection: sa.Connection, ids: Iterable[int]) -> Iterator[Picture]:
    """Close-outs as they stand, with how often each was corrected."""
    corrections = (
        sa.select(sa.func.count())
        .where(close_out_corrections.c.close_out == close_outs.c.id)
        .scalar_subquery()
        .label("corrections")
    )
    for chosen in _chunks(ids):
        query = (
            sa.select(close_outs, corrections, t.systems.c.plant)
            .join(t.systems, t.systems.c.system == close_outs.c.system)
            .where(close_outs.c.id.in_(chosen))
            .order_by(close_outs.c.id)
        )
        for row in connection.execute(query).mappings():
            position = row["position"] or None
            says = {
                "close_out": row["id"],
                "work_order": row["work_order"],
                "task": row["task"],
                "position": position,
                "at": utc(row["at"]),
                "done_by": row["done_by"],
                "recorded_by": row["recorded_by"],
                "recorded_at": utc(row["recorded_at"]),
                "as_specified": not row["mismatches"],
                "corrections": row["corrections"],
                "undone_at": utc(row["undone_at"]),
            }
            yield Picture(row["id"], row["plant"], row["system"], position, says)


def date_told(row: Row, *, in_service: bool) -> dict[str, Any]:
    """One position's due date; what is no longer in service has none."""
    dates = ("due_at", "due_early", "due_median", "due_late")
    return {
        "position": row["position"],
        "in_service": in_service,
        **{name: utc(row[name]) if in_service else None for name in dates},
        "trigger": row["trigger"] if in_service else None,
    }


def utc(moment: datetime | None) -> str | None:
    """As the feed writes a moment.

    >>> utc(datetime(2026, 3, 5, 14, 30, tzinfo=UTC))
    '2026-03-05T14:30:00Z'
    """
    return None if moment is None else moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _chunks(ids: Iterable[int]) -> Iterator[list[int]]:
    ordered = sorted(ids)
    for begin in range(0, len(ordered), _AT_ONCE):
        yield ordered[begin : begin + _AT_ONCE]
