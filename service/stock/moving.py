"""Pieces or containers go from one lot or store to another, or out of stock with the reason."""

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa

from api_schemas.problems import MemberProblem
from api_schemas.stock import Moved, MoveIn, ShelfPlace
from service.clock.turn import moment_of_turn
from service.problems import BadInput, InTheWay
from service.stock.lots import (
    LotPlace,
    began_at,
    begin_lot,
    book,
    container_size_L,
    lot_row,
    on_hand,
    refuse_future,
    refuse_unknown,
    whole_pieces,
)
from service.stock.queries import MOVE, RECEIVED

_SMALLEST = 1e-9


def move(connection: sa.Connection, told: MoveIn, now: datetime, by: str) -> Moved:
    """Book it on both sides.

    Raises CannotBeTrue for the future, InTheWay where the books have less than is to leave: a count sets them right.
    """
    now = moment_of_turn(connection, now)
    refuse_future("at", told.at, now)
    source = _place_from(connection, told)
    target = None if told.to is None else _place_to(told, source)
    _refuse_already_in_it(connection, told.at, now, [source] if target is None else [source, target])
    there = on_hand(connection, source, now)
    if there is None or told.quantity > there + _SMALLEST:
        says = f"the books have {there or 0:g} of {source}: {told.quantity:g} cannot leave; count it first"
        raise InTheWay(says, [MemberProblem(member="quantity", value=f"{told.quantity:g}", says=says)])
    note = f"{MOVE} by {by}{f': {told.why}' if told.why else ''}"
    book(connection, source, -told.quantity, at=told.at, now=now, source=note)
    if target is not None and told.to is not None:
        row = lot_row(connection, source)
        begin_lot(
            *(connection, target),
            at=told.at,
            now=now,
            source=note,
            member="to.lot",
            bin_=told.to.bin,
            expires_at=None if row is None else row["expires_at"],
        )
        book(connection, target, told.quantity, at=told.at, now=now, source=note)
    return Moved(
        item=source.item,
        quantity=told.quantity,
        left=on_hand(connection, source, now) or 0.0,
        now_there=None if target is None else on_hand(connection, target, now),
        recorded_at=now,
    )


def _place_from(connection: sa.Connection, told: MoveIn) -> LotPlace:
    where: ShelfPlace = told.from_
    if told.fluid is not None:
        refuse_unknown(connection, "fluid", told.fluid, is_oil=True)
        if where.container is None:
            raise _misfit("from.container", "of an oil say the size of its containers")
        return LotPlace(told.fluid, where.store, where.lot, container_size_L("from", where.container))
    part_number = told.part_number or ""
    refuse_unknown(connection, "part_number", part_number, is_oil=False)
    whole_pieces("quantity", told.quantity)
    if where.container is not None:
        raise _misfit("from.container", "a part has no container")
    return LotPlace(part_number, where.store, where.lot)


def _place_to(told: MoveIn, source: LotPlace) -> LotPlace:
    """The lot stays what it is unless another is told; what was only marked as received has none of its own."""
    assert told.to is not None  # noqa: S101 - asked only where it goes somewhere
    kept_lot = "" if source.store == RECEIVED else source.lot
    target = LotPlace(
        source.item, told.to.store, kept_lot if told.to.lot is None else told.to.lot, source.container_L
    )
    if source.is_oil and told.to.bin is not None:
        raise _misfit("to.bin", "bins are kept of parts, not of oils")
    if target == source:
        raise _misfit("to", f"it is in {target.store} already; a bin is told by a count")
    if target.store == RECEIVED:
        raise _misfit("to.store", f"store '{RECEIVED}' holds what came and was put nowhere; nothing is moved there")
    return target


def _refuse_already_in_it(connection: sa.Connection, at: datetime, now: datetime, places: Sequence[LotPlace]) -> None:
    """Raises InTheWay where a side was counted since: it would have the move already, and the other side not."""
    for place in places:
        since = began_at(connection, place, now)
        if since is not None and since >= at:
            says = f"{place} was counted, or came, {since.isoformat()}: a move before that is in it already"
            raise InTheWay(says, [MemberProblem(member="at", value=at.isoformat(), says=says)])


def _misfit(member: str, says: str) -> BadInput:
    return BadInput(says, [MemberProblem(member=member, value="", says=says)])
