"""All versions of all facts, loaded once, and cut to what was known at any moment: `load_plant` for many moments.

The cut is of the same rows in the same order as `load_plant` finds them; a test holds the two against each other.
Moments are compared as whole microseconds, since a day number's last digits are not those of the moment.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime, timedelta
from itertools import groupby
from typing import Any, Generic, TypeVar

import numpy as np
import numpy.typing as npt
import sqlalchemy as sa

from scheduler.planning import plant_columns as columns
from scheduler.planning.plant_columns import Flags, Ints, PlantColumns
from service.plant_folder import tables as t
from service.plant_store.catalogue import (
    load_alternates,
    load_curves,
    load_plants,
    load_positions,
    load_stops,
    load_systems,
    load_types,
)
from service.plant_store.codes import Codes
from service.plant_store.lives import installation_rows, load_lives
from service.plant_store.loading import load_position_rows
from service.plant_store.meters import MeterObservation, in_order, load_meter_rows, load_meters, observations_of
from service.plant_store.observations import (
    events_of,
    findings_of,
    levels_of,
    observed,
    oil_samples_of,
    top_ups_of,
)
from service.plant_store.readings import A_DAY, as_columns, reading_rows
from service.plant_store.rows import Row, every, flags, indices
from service.plant_store.time import to_day

Microseconds = npt.NDArray[np.int64]
Of = TypeVar("Of")
"""A record of columns."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_NEVER_US = np.iinfo(np.int64).max
_A_DAY_US = A_DAY // timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class Versions:
    """When each of n versions came to be known, and when another took its place."""

    from_us: Microseconds
    until_us: Microseconds

    @classmethod
    def of(cls, rows: Sequence[Row]) -> "Versions":
        return cls(_moments(rows, "recorded_at"), _moments(rows, "superseded_at"))

    def known_at(self, at_us: int) -> Ints:
        """Those that held at the moment."""
        return np.flatnonzero((self.from_us <= at_us) & (self.until_us > at_us))


@dataclass(frozen=True, slots=True)
class _Observed(Generic[Of]):
    """A table of observations in all its versions."""

    rows: Of
    versions: Versions

    def known_at(self, at_us: int, as_of_day: float) -> Of:
        found: Any = taken(self.rows, self.versions.known_at(at_us))
        return replace(found, day=np.minimum(found.day, as_of_day))  # type: ignore[no-any-return]


@dataclass(frozen=True, slots=True)
class _Installed:
    """Versions of installations, position by position and in order of fitting. `lives` has them all, also those that
    still run."""

    versions: Versions
    lives: columns.FinishedLives
    is_open: Flags
    lot: tuple[str, ...]
    lot_told: tuple[tuple[str | None, str | None], ...]  # part number and lot as they were told
    fitted_us: Microseconds
    removed_us: Microseconds


@dataclass(frozen=True, slots=True)
class _Read:
    """Versions of ΔP readings, position by position; `offsets` (P + 1,) of the positions."""

    versions: Versions
    rows: columns.DpReadings
    position: Ints
    at_us: Microseconds


@dataclass(frozen=True, slots=True)
class _Lot:
    part_number: str
    lot: str | None
    expires_day: float
    from_us: int
    until_us: int


@dataclass(frozen=True, slots=True)
class PlantHistory:
    """Everything that was ever known; `base` has master data as they are now and no facts that changed."""

    base: PlantColumns
    always_known_meters: Flags
    meter_versions: Versions
    meter_of_reading: Ints
    installed: _Installed
    read: _Read
    events: _Observed[columns.EventRows]
    findings: _Observed[columns.FindingRows]
    levels: _Observed[columns.LevelRows]
    top_ups: _Observed[columns.TopUpRows]
    oil_samples: _Observed[columns.OilSampleRows]
    lots: tuple[_Lot, ...]

    def cut(self, as_of: datetime) -> PlantColumns:
        """As `load_plant` at this moment."""
        at_us, as_of_day = _microseconds(as_of), to_day(as_of)
        known = self.installed.versions.known_at(at_us)
        is_open = self.installed.is_open[known]
        current = np.full(len(self.base.positions.code), -1, dtype=np.intp)
        # of several that are open in one position the last one fitted is written last
        current[self.installed.lives.position[known[is_open]]] = known[is_open]
        ended = known[~is_open]
        meters, meter_row = self._meters(at_us, as_of_day)
        readings = self.read.versions.known_at(at_us)
        return replace(
            self.base,
            as_of_day=as_of_day,
            meters=meters,
            positions=replace(self.base.positions, meter=meter_row[self.base.positions.meter]),
            fitted=self._fitted(current, at_us, as_of_day),
            lives=taken(self.installed.lives, ended),
            dp=self._dealt(readings, current, as_of_day),
            life_dp=self._dealt(readings, ended, as_of_day),
            events=self.events.known_at(at_us, as_of_day),
            findings=self.findings.known_at(at_us, as_of_day),
            levels=self.levels.known_at(at_us, as_of_day),
            top_ups=self.top_ups.known_at(at_us, as_of_day),
            oil_samples=self.oil_samples.known_at(at_us, as_of_day),
        )

    def _meters(self, at_us: int, as_of_day: float) -> tuple[columns.MeterRows, Ints]:
        """The meters that were known, and the row that each of all meters then has."""
        rows, every_meter = self.meter_versions.known_at(at_us), self.base.meters
        is_known = self.always_known_meters.copy()
        is_known[self.meter_of_reading[rows]] = True
        kept = np.flatnonzero(is_known)
        count = np.bincount(self.meter_of_reading[rows], minlength=len(is_known))[kept]
        found = columns.MeterRows(
            system=every_meter.system[kept],
            code=tuple(every_meter.code[row] for row in kept.tolist()),
            digits=tuple(every_meter.digits[row] for row in kept.tolist()),
            offsets=np.concatenate([[0], np.cumsum(count)]).astype(np.intp),
            day=np.minimum(every_meter.day[rows], as_of_day),
            shown_h=every_meter.shown_h[rows],
            kind=every_meter.kind[rows],
            is_date=every_meter.is_date[rows],
        )
        return found, (np.cumsum(is_known) - 1).astype(np.intp)

    def _fitted(self, current: Ints, at_us: int, as_of_day: float) -> columns.FittedRows:
        expires_day: dict[tuple[str | None, str | None], float] = {}
        for lot in self.lots:
            if lot.from_us <= at_us < lot.until_us:
                key = (lot.part_number, lot.lot)
                expires_day[key] = max(lot.expires_day, expires_day.get(key, -np.inf))
        sits, installed = current >= 0, self.installed
        fitted_day = np.where(sits, np.minimum(installed.lives.fitted_day[current], as_of_day), np.nan)
        return columns.FittedRows(
            fitted_day=fitted_day,
            is_date=np.asarray(sits & installed.lives.fitted_is_date[current]),
            type=np.where(sits, installed.lives.type[current], -1).astype(np.intp),
            lot=tuple("" if row < 0 else installed.lot[row] for row in current.tolist()),
            lot_expires_day=np.array(
                [np.nan if row < 0 else expires_day.get(installed.lot_told[row], np.nan) for row in current.tolist()],
                dtype=np.float64,
            ),
        )

    def _dealt(self, readings: Ints, elements: Ints, as_of_day: float) -> columns.DpReadings:
        """Known readings dealt to installations by time; −1 has none."""
        at_us, installed = self.read.at_us[readings], self.installed
        of_position = np.searchsorted(self.read.position[readings], np.arange(len(self.base.positions.code) + 1))
        parts, counts = [], []
        for element in elements.tolist():
            if element < 0:
                counts.append(0)
                continue
            position = installed.lives.position[element]
            begin, end = of_position[position], of_position[position + 1]
            first = begin + np.searchsorted(at_us[begin:end], installed.fitted_us[element] - _A_DAY_US, "left")
            removed_us = installed.removed_us[element]
            latest_us = removed_us if removed_us == _NEVER_US else removed_us + _A_DAY_US
            last = begin + np.searchsorted(at_us[begin:end], latest_us, "right")
            parts.append(readings[first:last])
            counts.append(int(last - first))
        rows = np.concatenate(parts) if parts else np.zeros(0, dtype=np.intp)
        found = taken(replace(self.read.rows, offsets=np.zeros(0, dtype=np.intp)), rows)
        return replace(
            found,
            offsets=np.concatenate([[0], np.cumsum(counts)]).astype(np.intp),
            day=np.minimum(found.day, as_of_day),
        )


def taken(rows: Of, index: Ints) -> Of:
    """Some rows of a record whose every field is a column; `offsets` are none, and stay for the caller to set."""
    chosen = index.tolist()
    found: dict[str, Any] = {}
    for each in fields(rows):  # type: ignore[arg-type]
        column = getattr(rows, each.name)
        if each.name == "offsets":
            found[each.name] = column
        else:
            found[each.name] = (
                column[index] if isinstance(column, np.ndarray) else tuple(column[row] for row in chosen)
            )
    return replace(rows, **found)  # type: ignore[type-var]


def load_history(connection: sa.Connection, until: datetime) -> PlantHistory:
    """All that was recorded by `until`, of every system."""
    plant_rows = every(connection, sa.select(t.plants).order_by(t.plants.c.plant))
    system_rows = every(connection, sa.select(t.systems).order_by(t.systems.c.system))
    type_rows = every(connection, sa.select(t.element_types).order_by(t.element_types.c.part_number))
    position_rows = load_position_rows(connection, None)
    installed = installation_rows(connection, _by(t.installations, until), None)
    read = observations_of(connection, _by(t.meter_readings, until), None, installed)
    meters = load_meters(connection, None, position_rows, read)
    codes = Codes(
        {row["plant"]: i for i, row in enumerate(plant_rows)},
        {row["system"]: i for i, row in enumerate(system_rows)},
        {row["part_number"]: i for i, row in enumerate(type_rows)},
        {row["position"]: i for i, row in enumerate(position_rows)},
        {meter: i for i, meter in enumerate(meters)},
    )
    fluids = {row["fluid"]: row for row in every(connection, sa.select(t.fluids))}
    plants, read = load_plants(plant_rows), in_order(read, codes)
    always_known = set(load_meters(connection, None, position_rows, []))
    told = dict(_observations(connection, codes, fluids, until))
    return PlantHistory(
        base=PlantColumns(
            as_of_day=np.inf,
            plants=plants,
            systems=load_systems(system_rows, codes, fluids, plants.currency),
            meters=load_meter_rows(connection, codes, read, np.inf),
            types=load_types(type_rows),
            curves=load_curves(connection, codes),
            positions=load_positions(position_rows, codes),
            fitted=_nothing_fitted(len(position_rows)),
            lives=load_lives([], position_rows, codes),
            dp=as_columns([], np.inf),
            life_dp=as_columns([], np.inf),
            **{name: observed_rows.rows for name, observed_rows in told.items()},
            stops=load_stops(connection, codes),
            alternates=load_alternates(connection),
        ),
        always_known_meters=flags(meter in always_known for meter in meters),
        meter_versions=Versions.of([each.row for each in read if each.row is not None]),
        meter_of_reading=_meters_of(read, codes),
        installed=_all_installed(installed, position_rows, codes),
        read=_all_readings(connection, position_rows, until),
        **told,
        lots=tuple(_lots(connection, until)),
    )


def _by(table: sa.Table, until: datetime) -> sa.ColumnElement[bool]:
    return table.c.recorded_at <= until


def _observations(
    connection: sa.Connection, codes: Codes, fluids: dict[str, Row], until: datetime
) -> Iterator[tuple[str, Any]]:
    for name, table, as_rows in (
        ("events", t.events, events_of),
        ("findings", t.findings, findings_of),
        ("levels", t.level_checks, levels_of),
        ("oil_samples", t.oil_samples, oil_samples_of),
    ):
        rows = observed(connection, table, _by(table, until), None)
        yield name, _Observed(as_rows(rows, codes, np.inf), Versions.of(rows))
    rows = observed(connection, t.top_ups, _by(t.top_ups, until), None)
    yield "top_ups", _Observed(top_ups_of(rows, codes, np.inf, fluids), Versions.of(rows))


def _meters_of(read: Sequence[MeterObservation], codes: Codes) -> Ints:
    return indices(codes.meters[each.meter] for each in read)


def _nothing_fitted(positions: int) -> columns.FittedRows:
    nothing = np.full(positions, np.nan)
    none = np.full(positions, -1, dtype=np.intp)
    return columns.FittedRows(nothing, np.zeros(positions, dtype=bool), none, ("",) * positions, nothing)


def _all_installed(rows: Sequence[Row], position_rows: Sequence[Row], codes: Codes) -> _Installed:
    return _Installed(
        versions=Versions.of(rows),
        lives=load_lives(rows, position_rows, codes),
        is_open=flags(row["removed_at"] is None for row in rows),
        lot=tuple(row["lot"] or "" for row in rows),
        lot_told=tuple((row["part_number"], row["lot"]) for row in rows),
        fitted_us=_moments(rows, "fitted_at"),
        removed_us=_moments(rows, "removed_at"),
    )


def _all_readings(connection: sa.Connection, position_rows: Sequence[Row], until: datetime) -> _Read:
    by_position = {
        position: list(of_it)
        for position, of_it in groupby(
            reading_rows(connection, _by(t.dp_readings, until), None), key=lambda row: row["position"]
        )
    }
    dealt = [by_position.get(row["position"], []) for row in position_rows]
    rows = [row for of_position in dealt for row in of_position]
    position = np.repeat(np.arange(len(dealt)), [len(of_position) for of_position in dealt])
    return _Read(Versions.of(rows), as_columns(dealt, np.inf), position, _moments(rows, "at"))


def _lots(connection: sa.Connection, until: datetime) -> Iterator[_Lot]:
    query = sa.select(t.stock).where(_by(t.stock, until), t.stock.c.expires_at.is_not(None))
    for row in every(connection, query):
        known = Versions.of([row])
        yield _Lot(
            *(row["part_number"], row["lot"], to_day(row["expires_at"])),
            *(int(known.from_us[0]), int(known.until_us[0])),
        )


def _moments(rows: Sequence[Row], name: str) -> Microseconds:
    return np.array([_NEVER_US if row[name] is None else _microseconds(row[name]) for row in rows], dtype=np.int64)


def _microseconds(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(microseconds=1)
