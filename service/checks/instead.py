"""What to do instead of using what was refused: which lot to take, and where it stands."""

from collections.abc import Iterator, Sequence
from datetime import datetime

import sqlalchemy as sa

from scheduler.engineering.oil import SealFit, called, seal_verdict
from scheduler.planning.shelf_check import Finding, Mistake, Objection, Wanted
from service.plant_folder import tables as t
from service.plant_store.time import to_day
from service.stock.booking import OilLot, oil_lots
from service.stock.queries import free_lots

_OF_OIL = frozenset({Mistake.WRONG_FAMILY, Mistake.WRONG_GRADE, Mistake.EXPIRED_OIL})


def cautions(
    connection: sa.Connection, found: Sequence[Finding], wanted: Wanted, at: datetime, now: datetime
) -> list[str]:
    """One sentence for each thing that was refused; none where nothing was."""
    refused = {each.mistake: each for each in found if each.severity is Objection.REFUSE}
    said = []
    of_part = set(refused) - _OF_OIL - {Mistake.OVERFILL}
    if of_part:
        what = refused[min(of_part)].found
        said.append(f"Put {what} back. {_take_part(connection, wanted, at, now)}")
    if set(refused) & _OF_OIL:
        said.append(f"Leave the container closed. {_take_oil(connection, wanted, at, now)}")
    if Mistake.OVERFILL in refused:
        said.append(_pour_less(refused[Mistake.OVERFILL].specified))
    return said


def _pour_less(most: str) -> str:
    how_much = "Pour nothing" if most == "0 L" else f"Pour at most {most}, slowly"
    return f"{how_much}, and look at the level again, at rest and in the defined position."


def _take_part(connection: sa.Connection, wanted: Wanted, at: datetime, now: datetime) -> str:
    """The specified part before its alternates, and of it what expires first."""
    day = to_day(at)
    lots = [
        lot
        for lot in free_lots(connection, now)
        if lot.quantity > 0 and (lot.expires_day is None or lot.expires_day > day)
    ]
    for part in _that_fit(connection, wanted):
        of_part = [lot for lot in lots if lot.part_number == part]
        if of_part:
            lot = min(of_part, key=lambda each: float("inf") if each.expires_day is None else each.expires_day)
            where = " ".join(word for word in (lot.store, lot.bin) if word)
            return f"Take {part}{f' lot {lot.lot}' if lot.lot else ''} from {where}."
    return f"The job needs {wanted.part_number}: none is free on the shelf."


def _that_fit(connection: sa.Connection, wanted: Wanted) -> Iterator[str]:
    yield wanted.part_number
    types = t.element_types
    for part in wanted.alternates:
        seals = connection.scalar(sa.select(types.c.seals).where(types.c.part_number == part))
        if seal_verdict(wanted.fluid.family, seals).fit is SealFit.COMPATIBLE:
            yield part


def _take_oil(connection: sa.Connection, wanted: Wanted, at: datetime, now: datetime) -> str:
    """What is opened first, then what expires first."""

    def comes(lot: OilLot) -> tuple[bool, float]:
        return lot.opened_at is None, float("inf") if lot.expires_at is None else to_day(lot.expires_at)

    lots = [
        lot
        for lot in oil_lots(connection, now)
        if lot.fluid == wanted.fluid.code and lot.left_L > 0.0 and (lot.expires_at is None or lot.expires_at > at)
    ]
    if not lots:
        return f"The system takes {called(wanted.fluid)}: none is on the shelf."
    lot = min(lots, key=comes)
    named = f" lot {lot.lot}" if lot.lot else ""
    return (
        f"Take {called(wanted.fluid)}{named} from {lot.store}: {lot.left_L:g} L in {lot.container_L:g} L containers."
    )
