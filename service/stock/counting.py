"""Recording what was counted: the facts of a plant folder's `stock` and `oil_stock`, from a person or a store."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from api_schemas.problems import MemberProblem
from api_schemas.stock import Counted, CountOutcome, Counts, CountsIn, OilCount, PartCount
from service.clock.turn import moment_of_turn
from service.plant_folder.facts import record_fact
from service.problems import BadInput
from service.stock.lots import LotPlace, container_size_L, lot_row, on_hand, refuse_future, refuse_unknown
from service.stock.queries import is_count


def record_counts(connection: sa.Connection, told: CountsIn, now: datetime, by: str) -> Counts:
    """All rows or none. Raises CannotBeTrue for a count in the future and an unknown code, BadInput for a lot twice.

    A lot that was counted again later keeps the later count: an earlier one says nothing of today.
    """
    now = moment_of_turn(connection, now)
    refuse_future("counted_at", told.counted_at, now)
    seen: set[LotPlace] = set()
    rows = []
    for member, row, place in _rows(told):
        code = "fluid" if place.is_oil else "part_number"
        refuse_unknown(connection, f"{member}.{code}", place.item, is_oil=place.is_oil)
        if place in seen:
            says = f"{place} stands twice"
            raise BadInput(f"{member}: {says}", [MemberProblem(member=member, value=place.item, says=says)])
        seen.add(place)
        rows.append(_record(connection, row, place, told.counted_at, now, by))
    return Counts(recorded_at=now, rows=rows)


def _rows(told: CountsIn) -> Iterator[tuple[str, PartCount | OilCount, LotPlace]]:
    for at, part in enumerate(told.parts):
        yield f"parts.{at}", part, LotPlace(part.part_number, part.store, part.lot)
    for at, oil in enumerate(told.oil):
        yield f"oil.{at}", oil, LotPlace(oil.fluid, oil.store, oil.lot, container_size_L(f"oil.{at}", oil.container))


def _record(
    connection: sa.Connection, row: PartCount | OilCount, place: LotPlace, at: datetime, now: datetime, by: str
) -> Counted:
    earlier, before = lot_row(connection, place), on_hand(connection, place, now)
    outcome = _outcome(row, earlier, at)
    if outcome != "outdated":
        values = place.key | _values(row) | {"counted_at": at}
        told = {name: value for name, value in values.items() if value is not None}
        record_fact(connection, place.table_name, told, recorded_at=now, source=f"count by {by}")
    return Counted(
        item=place.item,
        store=place.store,
        lot=place.lot,
        container=row.container if isinstance(row, OilCount) else None,
        outcome=outcome,
        before=before,
        counted_at=earlier["counted_at"] if earlier is not None and outcome == "outdated" else at,
    )


def _values(row: PartCount | OilCount) -> dict[str, Any]:
    if isinstance(row, OilCount):
        return {"on_hand": row.containers, "opened_at": row.opened_at, "expires_at": row.expires_at}
    return {"on_hand": row.on_hand, "bin": row.bin, "expires_at": row.expires_at}


def _outcome(row: PartCount | OilCount, earlier: sa.RowMapping | None, at: datetime) -> CountOutcome:
    if earlier is None or not is_count(earlier["source"]):
        return "new"
    if at < earlier["counted_at"]:
        return "outdated"
    if at > earlier["counted_at"]:
        return "counted"
    differs = any(value is not None and value != earlier[name] for name, value in _values(row).items())
    return "corrected" if differs else "unchanged"
