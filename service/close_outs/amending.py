"""Bringing the records from what followed from a close-out to what follows from it once corrected.

Only what differs is written: a new version where a value was another, a withdrawal where a fact never was, a
movement the other way where a part or an oil was another. The past stays as it was known.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from itertools import takewhile
from typing import Any

import sqlalchemy as sa

from service.close_outs.consequences import Booking, apply_consequences
from service.close_outs.effects import Effects, Values
from service.close_outs.neighbours import Stays
from service.close_outs.tables import close_out_corrections
from service.database import current_rows
from service.plant_folder import layout
from service.plant_folder import tables as t
from service.plant_folder.facts import record_fact, supersede, told_by, withdraw
from service.plant_folder.tables import TABLE
from service.stock.taking_back import take_back_oil, take_back_parts

_SMALLEST_L = 1e-9
_STAY_ENDS = ("removed_at", "removed_at_is_date", "removed_hours", "reason", "condition")


@dataclass(frozen=True, slots=True)
class Amendment:
    """From `earlier` to `new` of the close-out that `of` names as source.

    `also_read_by` is another close-out that read the same hours at the same moment: the reading stands for it.
    """

    of: str
    position: str
    booking: Booking
    earlier: Effects
    new: Effects
    was_at: datetime
    undone: bool
    also_read_by: int | None

    @property
    def moved(self) -> bool:
        return self.booking.at != self.was_at


def amend(connection: sa.Connection, amendment: Amendment, stays: Stays) -> None:
    """Write every difference, in the caller's transaction."""
    _amend_stays(connection, amendment, stays)
    _amend_readings(connection, amendment)
    _amend_added_readings(connection, amendment)
    _amend_stock(connection, amendment)
    _amend_top_ups(connection, amendment)


def _amend_stays(connection: sa.Connection, amendment: Amendment, stays: Stays) -> None:
    earlier, new, booking = amendment.earlier, amendment.new, amendment.booking
    known: dict[str, Any] = {"recorded_at": booking.now, "source": booking.source}
    if earlier.begins and not new.begins:
        if stays.earlier is not None:
            supersede(connection, t.installations, stays.earlier, dict.fromkeys(_STAY_ENDS), **known)
        if stays.begun is not None:
            withdraw(connection, t.installations, stays.begun, recorded_at=booking.now)
    elif new.begins and not earlier.begins:
        only_stays = Effects(ends=new.ends, begins=new.begins)
        apply_consequences(connection, only_stays, stays.earlier, booking)
    elif new.begins and stays.begun is not None:
        ended = _differing(earlier.ends, new.ends)
        if ended and stays.earlier is not None:
            supersede(connection, t.installations, stays.earlier, ended, **known)
        begun = _differing(earlier.begins, new.begins)
        if begun:
            supersede(connection, t.installations, stays.begun, begun, **known)


def _differing(earlier: Values, new: Values) -> Values:
    return {name: value for name, value in new.items() if earlier.get(name) != value}


_Key = tuple[str, tuple[Any, ...]]


def _by_key(readings: Iterable[tuple[str, Values]]) -> dict[_Key, Values]:
    return {
        (table, tuple(values[column.field] for column in layout.TABLE[table].key)): values
        for table, values in readings
    }


def _amend_readings(connection: sa.Connection, amendment: Amendment) -> None:
    booking = amendment.booking
    earlier, new = _by_key(amendment.earlier.readings), _by_key(amendment.new.readings)
    for key, values in earlier.items():
        row = _current(connection, key)
        if row is None:
            continue
        if key not in new:
            _take_back(connection, amendment, key[0], row)
        elif changed := _differing(values, new[key]):
            supersede(connection, TABLE[key[0]], row, changed, recorded_at=booking.now, source=booking.source)
    for key in new.keys() - earlier.keys():
        record_fact(connection, key[0], new[key], recorded_at=booking.now, source=booking.source)


def _current(connection: sa.Connection, key: _Key) -> sa.RowMapping | None:
    table, told = TABLE[key[0]], key[1]
    query = sa.select(table).where(current_rows(table), *_is_key(key[0], told))
    return connection.execute(query).mappings().one_or_none()


def _is_key(name: str, told: tuple[Any, ...]) -> list[sa.ColumnElement[bool]]:
    columns = layout.TABLE[name].key
    return [TABLE[name].c[column.field] == value for column, value in zip(columns, told, strict=True)]


def _take_back(connection: sa.Connection, amendment: Amendment, name: str, row: sa.RowMapping) -> None:
    """Withdraw what only this close-out says; what it had corrected itself holds again."""
    table, now = TABLE[name], amendment.booking.now
    versions = _versions(connection, name, row)
    own = list(takewhile(lambda version: _is_of(version["source"], amendment.of), versions))
    if not own:
        return  # others have recorded the same, or have corrected it since
    if name == "meter_readings" and amendment.also_read_by is not None:
        supersede(connection, table, row, {}, recorded_at=now, source=f"close-out {amendment.also_read_by}")
        return
    withdraw(connection, table, row, recorded_at=now)
    before = versions[len(own)] if len(own) < len(versions) else None
    if (
        before is not None
        and before["superseded_at"] == own[-1]["recorded_at"]
        and not _ended_itself(connection, before)
    ):
        values = {column: value for column, value in before.items() if column != "id"}
        known = {"recorded_at": now, "superseded_at": None, "source": amendment.booking.source}
        connection.execute(sa.insert(table).values(**values | known))


def _ended_itself(connection: sa.Connection, version: sa.RowMapping) -> bool:
    """Whether its own close-out took it back, at the very moment at which the next one told the same fact anew.

    A write that waited for its turn is recorded at the moment of the write before it.
    """
    kept = close_out_corrections
    source = sa.literal("close-out ") + sa.cast(kept.c.close_out, sa.Text)
    query = sa.select(kept.c.number).where(
        kept.c.recorded_at == version["superseded_at"],
        sa.or_(source == version["source"], sa.literal(version["source"]).startswith(source + ", ")),
    )
    return connection.execute(query).first() is not None


def _versions(connection: sa.Connection, name: str, row: sa.RowMapping) -> list[sa.RowMapping]:
    """Every version of the same fact, the newest first."""
    told = tuple(row[column.field] for column in layout.TABLE[name].key)
    query = sa.select(TABLE[name]).where(*_is_key(name, told)).order_by(TABLE[name].c.id.desc())
    return list(connection.execute(query).mappings())


def _is_of(source: str, of: str) -> bool:
    return source == of or source.startswith(f"{of}, ")


def added_readings(connection: sa.Connection, of: str, position: str, told: Effects) -> list[sa.RowMapping]:
    """ΔP that was added to the close-out and is no member of it."""
    kept = t.dp_readings
    own = _by_key(told.readings)
    rows = connection.execute(
        sa.select(kept).where(current_rows(kept), kept.c.position == position, told_by(kept, of))
    ).mappings()
    return [row for row in rows if _dp_key(row, row["at"]) not in own]


def _amend_added_readings(connection: sa.Connection, amendment: Amendment) -> None:
    """Those of the moment of the job move with it; of a job that never was there are none."""
    booking = amendment.booking
    written = _by_key(amendment.new.readings)
    for row in added_readings(connection, amendment.of, amendment.position, amendment.earlier):
        if _dp_key(row, row["at"]) in written:
            continue
        if amendment.undone:
            _take_back(connection, amendment, "dp_readings", row)
        elif amendment.moved and row["at"] == amendment.was_at:
            if _current(connection, _dp_key(row, booking.at)) is None:
                at = {"at": booking.at}
                supersede(connection, t.dp_readings, row, at, recorded_at=booking.now, source=booking.source)
            else:
                withdraw(connection, t.dp_readings, row, recorded_at=booking.now)


def _dp_key(row: sa.RowMapping, at: datetime) -> _Key:
    return "dp_readings", (row["position"], at, row["stage"])


def _amend_stock(connection: sa.Connection, amendment: Amendment) -> None:
    earlier, new, booking = amendment.earlier, amendment.new, amendment.booking
    parts = {
        part
        for part in {use.part_number for use in (*earlier.uses, *new.uses)}
        if amendment.moved or _of_part(earlier, part) != _of_part(new, part)
    }
    fluids = {
        fluid
        for fluid in {oil.fluid for oil in (*earlier.poured, *new.poured)}
        if amendment.moved or _of_fluid(earlier, fluid) != _of_fluid(new, fluid)
    }
    take_back_parts(connection, amendment.of, parts, now=booking.now, source=booking.source)
    take_back_oil(connection, amendment.of, fluids, now=booking.now, source=booking.source)
    again = Effects(
        uses=tuple(use for use in new.uses if use.part_number in parts),
        poured=tuple(oil for oil in new.poured if oil.fluid in fluids),
    )
    apply_consequences(connection, again, None, booking)


def _of_part(effects: Effects, part_number: str) -> list[Any]:
    return [use for use in effects.uses if use.part_number == part_number]


def _of_fluid(effects: Effects, fluid: str) -> list[Any]:
    return [oil for oil in effects.poured if oil.fluid == fluid]


def _amend_top_ups(connection: sa.Connection, amendment: Amendment) -> None:
    """A row may hold what other jobs poured at that moment too: the difference of the litres is what changes."""
    earlier = _by_key(("top_ups", values) for values in amendment.earlier.top_ups)
    new = _by_key(("top_ups", values) for values in amendment.new.top_ups)
    booking = amendment.booking
    for key in sorted({*earlier, *new}):
        before, after = earlier.get(key, {}), new.get(key, {})
        changed = _differing(before, after)
        if not changed and after:
            continue
        row = _current(connection, key)
        if row is None:
            if after:
                record_fact(connection, "top_ups", after, recorded_at=booking.now, source=booking.source)
            continue
        litres = row["volume_L"] + after.get("volume_L", 0.0) - before.get("volume_L", 0.0)
        if litres <= _SMALLEST_L:
            _take_back(connection, amendment, "top_ups", row)
            continue
        values = {"volume_L": litres} | {name: after[name] for name in ("through_filter", "lot") if name in changed}
        supersede(connection, t.top_ups, row, values, recorded_at=booking.now, source=booking.source)
