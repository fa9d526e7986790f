"""What was really used: elements by what was fitted, oil by top-ups, everything else by what left the shelves."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime

import sqlalchemy as sa

from service.database import current_rows
from service.plant_folder import tables as t
from service.stock.queries import goes_back_in
from service.stock.tables import stock_discrepancies, stock_movements

ItemKey = tuple[bool, str]
"""Whether it is a fluid, and its code."""


class Uses:
    """Every use that is known now: when, and how many pieces or litres."""

    def __init__(self, connection: sa.Connection) -> None:
        self._of: dict[ItemKey, list[tuple[datetime, float]]] = defaultdict(list)
        for part_number, at, pieces in (*_fitted(connection), *_taken(connection)):
            self._of[False, part_number].append((at, pieces))
        top_ups = t.top_ups
        for row in connection.execute(sa.select(top_ups).where(current_rows(top_ups))).mappings():
            self._of[True, row["fluid"]].append((row["at"], row["volume_L"]))

    def between(self, item: ItemKey, starts_at: datetime, ends_at: datetime) -> float:
        """How much from one moment on and before the other."""
        return sum(amount for at, amount in self._of[item] if starts_at <= at < ends_at)


def _fitted(connection: sa.Connection) -> Iterator[tuple[str, datetime, float]]:
    fitted, places, types = t.installations, t.positions, t.element_types
    query = (
        sa.select(
            *(fitted.c.part_number, fitted.c.fitted_at, fitted.c.cleanings),
            *(places.c.quantity, types.c.kind, types.c.cleanable),
        )
        .join(places, places.c.position == fitted.c.position)
        .join(types, types.c.part_number == fitted.c.part_number)
        .where(current_rows(fitted))
    )
    for part_number, at, cleanings, quantity, kind, cleanable in connection.execute(query):
        if cleanings == 0 or not goes_back_in(kind, cleanable):
            yield part_number, at, float(quantity or 1)


def _taken(connection: sa.Connection) -> Iterator[tuple[str, datetime, float]]:
    """Parts that are no elements: what close-outs took off the shelves, and what the shelves did not have."""
    moves, missing = stock_movements, stock_discrepancies
    other = sa.select(t.parts.c.part_number)
    for part_number, at, quantity in connection.execute(
        sa.select(moves.c.part_number, moves.c.at, moves.c.quantity).where(moves.c.part_number.in_(other))
    ):
        yield part_number, at, -float(quantity)
    for part_number, at, pieces in connection.execute(
        sa.select(missing.c.part_number, missing.c.at, missing.c.missing).where(missing.c.part_number.in_(other))
    ):
        yield part_number, at, float(pieces)
