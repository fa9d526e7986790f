"""What follows from a close-out, written: the installation ends and the next begins, readings, oil and stock.

Every row names the close-out as its source. All of it is recorded when it was received.
"""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from api_schemas.close_outs import CloseOutIn
from service.close_outs.checking import Checked
from service.close_outs.effects import Effects, Values, dp_values
from service.close_outs.statement import Readings
from service.close_outs.subject import Subject
from service.database import current_rows
from service.plant_folder import tables as t
from service.plant_folder.facts import record_fact, supersede
from service.plant_folder.layout import DATA_MISSING_NOTE
from service.stock.booking import book_oil, book_parts


@dataclass(frozen=True, slots=True)
class Booking:
    """When the job was, when it became known, and what the rows name as their source."""

    at: datetime
    now: datetime
    source: str


def apply_consequences(connection: sa.Connection, effects: Effects, stay: sa.RowMapping | None, as_: Booking) -> None:
    """Write everything that follows, in the caller's transaction. `stay` is the one that ends."""
    if effects.ends and stay is not None:
        ended = {name: value for name, value in effects.ends.items() if value is not None}
        supersede(connection, t.installations, stay, ended, recorded_at=as_.now, source=as_.source)
    if effects.begins:
        record_fact(connection, "installations", effects.begins, recorded_at=as_.now, source=as_.source)
    for table, values in effects.readings:
        record_fact(connection, table, values, recorded_at=as_.now, source=as_.source)
    book_parts(connection, effects.uses, at=as_.at, now=as_.now, source=as_.source)
    for oil in effects.poured:
        book_oil(connection, oil.fluid, oil.litres, lot=oil.lot, at=as_.at, now=as_.now, source=as_.source)
    for top_up in effects.top_ups:
        together = {"volume_L": top_up["volume_L"] + _poured_at_the_same_minute(connection, top_up)}
        record_fact(connection, "top_ups", top_up | together, recorded_at=as_.now, source=as_.source)


def catalogue_unknown(connection: sa.Connection, told: CloseOutIn, subject: Subject, checked: Checked) -> None:
    """What was really fitted or poured may be in no catalogue: it gets an entry that says so, and nothing else."""
    notes = {DATA_MISSING_NOTE: "added by a close-out"}
    position = subject.position
    if checked.changed and position is not None and not _is_known(connection, t.element_types, checked.element):
        values = {"part_number": checked.element, "kind": position["element_kind"], "notes": notes}
        connection.execute(sa.insert(t.element_types).values(**values))
    for fluid in {oil.fluid for oil in told.oil}:
        if not _is_known(connection, t.fluids, fluid):
            connection.execute(sa.insert(t.fluids).values(fluid=fluid, notes=notes))


def keep_dp(connection: sa.Connection, position: str, told: Readings, as_: Booking) -> None:
    """ΔP that was read after the close-out."""
    for values in dp_values(position, told, as_.at):
        record_fact(connection, "dp_readings", values, recorded_at=as_.now, source=as_.source)


def _is_known(connection: sa.Connection, catalogue: sa.Table, code: str) -> bool:
    (key,) = catalogue.primary_key.columns
    return connection.execute(sa.select(key).where(key == code)).first() is not None


def _poured_at_the_same_minute(connection: sa.Connection, top_up: Values) -> float:
    """What another job of the system has poured at that very time: a top-up has no other name than its moment."""
    kept = t.top_ups
    query = sa.select(sa.func.sum(kept.c.volume_L)).where(
        current_rows(kept),
        kept.c.system == top_up["system"],
        kept.c.at == top_up["at"],
        kept.c.fluid == top_up["fluid"],
        kept.c.source.startswith("close-out "),
    )
    return float(connection.scalar(query) or 0.0)
