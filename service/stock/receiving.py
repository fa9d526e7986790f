"""A line on order has come: it is put away lot by lot, and the line is received, once.

A line ends with its receipt, whatever quantity came; the rest is a line of its own. So nothing has to be remembered
of lines that came in part, and no part of one can be booked twice.
"""

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa

from api_schemas.problems import MemberProblem
from api_schemas.stock import PutAway, Receipt, ReceiptIn
from service.clock.turn import moment_of_turn
from service.database import current_rows
from service.plant_folder import tables as t
from service.plant_folder.facts import record_fact
from service.problems import BadInput, InTheWay, NotFound
from service.stock.lots import LotPlace, begin_lot, book, container_size_L, refuse_future, whole_pieces
from service.stock.queries import RECEIPT, RECEIVED
from service.stock.tables import receipts

_SAME = 1e-9


def receive(connection: sa.Connection, told: ReceiptIn, now: datetime, by: str) -> tuple[Receipt, bool]:
    """The receipt, and whether it is new: the same told again changes nothing.

    What a lot's later count has already is not added to it again. Raises NotFound for a line that nobody ordered,
    InTheWay for one that was received otherwise, CannotBeTrue for what cannot be, BadInput for a quantity that
    differs without a reason.
    """
    now = moment_of_turn(connection, now)
    line = _line(connection, told)
    kept = _kept(connection, told)
    if kept is not None:
        _refuse_otherwise(kept, line, told)
        return _receipt(kept, line), False
    if line["received_at"] is not None:
        came = f"{told.order}/{told.line} was received {line['received_at'].isoformat()} by {line['source']}"
        raise InTheWay(f"{came}, and put nowhere: move it from store '{RECEIVED}'")
    refuse_future("received_at", told.received_at, now)
    _refuse_other_quantity(told, line)
    places = [_place(line, f"into.{at}", each) for at, each in enumerate(told.into)]
    values = {"order": told.order, "line": told.line, "told": told.model_dump(mode="json")}
    connection.execute(sa.insert(receipts).values(**values, recorded_at=now, recorded_by=by))
    receipt = _receipt(_kept(connection, told), line)
    _put_away(connection, receipt, places, now)
    received = {"order": told.order, "line": told.line, "received_at": told.received_at}
    record_fact(connection, "supply", received, recorded_at=now, source=f"{RECEIPT} {receipt.id}")
    return receipt, True


def _put_away(connection: sa.Connection, receipt: Receipt, places: Sequence[LotPlace], now: datetime) -> None:
    at, source = receipt.received_at, f"{RECEIPT} {receipt.id}"
    for number, (place, each) in enumerate(zip(places, receipt.into, strict=True)):
        begin_lot(
            *(connection, place),
            at=at,
            now=now,
            source=source,
            member=f"into.{number}.expires_at",
            bin_=each.bin,
            expires_at=each.expires_at,
        )
        book(connection, place, each.quantity, at=at, now=now, source=source)


def _line(connection: sa.Connection, told: ReceiptIn) -> sa.RowMapping:
    supply = t.supply
    query = sa.select(supply).where(current_rows(supply), supply.c.order == told.order, supply.c.line == told.line)
    found = connection.execute(query).mappings().one_or_none()
    if found is None:
        raise NotFound(f"there is no line {told.order}/{told.line} on order")
    return found


def _kept(connection: sa.Connection, told: ReceiptIn) -> sa.RowMapping | None:
    query = sa.select(receipts).where(receipts.c.order == told.order, receipts.c.line == told.line)
    return connection.execute(query).mappings().one_or_none()


def _receipt(kept: sa.RowMapping | None, line: sa.RowMapping) -> Receipt:
    assert kept is not None  # noqa: S101 - asked of a receipt that was found or just made
    told = ReceiptIn.model_validate(kept["told"])
    return Receipt(
        id=kept["id"],
        part_number=line["part_number"],
        fluid=line["fluid"],
        ordered=line["quantity"],
        recorded_at=kept["recorded_at"],
        recorded_by=kept["recorded_by"],
        **{name: getattr(told, name) for name in ReceiptIn.model_fields},
    )


def _refuse_otherwise(kept: sa.RowMapping, line: sa.RowMapping, told: ReceiptIn) -> None:
    """Raises InTheWay where the line was received, and not as it is told now."""
    if ReceiptIn.model_validate(kept["told"]) == told:
        return
    earlier = _receipt(kept, line)
    came = f"{sum(each.quantity for each in earlier.into):g} came {earlier.received_at.isoformat()}"
    says = f"{told.order}/{told.line} was received otherwise: {came}, told by {earlier.recorded_by}"
    raise InTheWay(f"{says} (receipt {earlier.id}); set right by a count or a move what is wrong", receipt=earlier.id)


def _refuse_other_quantity(told: ReceiptIn, line: sa.RowMapping) -> None:
    came = sum(each.quantity for each in told.into)
    if abs(came - line["quantity"]) > _SAME and told.differs_because is None:
        says = f"{came:g} came of {line['quantity']:g} that were ordered: say in `differs_because` why"
        raise BadInput(says, [MemberProblem(member="differs_because", value="", says=says)])


def _place(line: sa.RowMapping, member: str, told: PutAway) -> LotPlace:
    """Where some of the line went. Raises BadInput where that does not fit what was ordered."""
    if told.store == RECEIVED:
        raise _misfit(f"{member}.store", f"store '{RECEIVED}' holds what came and was put nowhere; say where it lies")
    if line["fluid"] is None:
        whole_pieces(f"{member}.quantity", told.quantity)
        if told.container is not None:
            raise _misfit(f"{member}.container", f"{line['part_number']} is a part: it has no container")
        return LotPlace(line["part_number"], told.store, told.lot)
    if told.container is None:
        raise _misfit(f"{member}.container", f"{line['fluid']} is an oil: say the size of its containers")
    if told.bin is not None:
        raise _misfit(f"{member}.bin", f"{line['fluid']} is an oil: bins are kept of parts")
    return LotPlace(line["fluid"], told.store, told.lot, container_size_L(member, told.container))


def _misfit(member: str, says: str) -> BadInput:
    return BadInput(says, [MemberProblem(member=member, value="", says=says)])
