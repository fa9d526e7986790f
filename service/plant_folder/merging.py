"""What a folder's rows change in what is known: new rows, updates, corrections that keep the earlier value.

An empty cell never erases and a missing row deletes nothing, so only the cells that a row has are compared.
Everything happens in the caller's transaction; a dry run is the same merge, undone.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from service.database import current_rows
from service.plant_folder.bare_dates import days_at_noon
from service.plant_folder.layout import TABLES, RowRule, TableLayout
from service.plant_folder.reading import Folder, FolderRow
from service.plant_folder.row_checks import begins_before_it_ends
from service.plant_folder.tables import TABLE, plants

_ROWS_AT_ONCE = 500

Key = tuple[Any, ...]
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Change:
    """One value that the folder changed: `earlier` is kept where the row is a fact."""

    table: str
    key: str
    column: str
    earlier: Any
    new: Any
    is_correction: bool


@dataclass(slots=True)
class TableOutcome:
    added: int = 0
    updated: int = 0
    corrected: int = 0
    completed: int = 0
    unchanged: int = 0


@dataclass(slots=True)
class MergeOutcome:
    tables: dict[str, TableOutcome] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)

    @property
    def changes_anything(self) -> bool:
        return any(t.added or t.updated or t.corrected or t.completed for t in self.tables.values())


def merge_folder(
    connection: sa.Connection,
    folder: Folder,
    *,
    recorded_now: datetime,
    source: str,
    progress: Progress | None = None,
) -> MergeOutcome:
    """Merge every table of `folder`, referred-to tables first."""
    outcome = MergeOutcome()
    for layout in TABLES:
        rows = folder.tables.get(layout.name)
        if rows is None:
            continue
        merge = _TableMerge(connection, layout, recorded_now, source, outcome)
        done = 0
        for some in _in_batches(rows):
            merge.take(some)
            done += len(some)
            if progress:
                progress(layout.name, done, len(rows))
    return outcome


def _in_batches(rows: Sequence[FolderRow]) -> Iterator[Sequence[FolderRow]]:
    for start in range(0, len(rows), _ROWS_AT_ONCE):
        yield rows[start : start + _ROWS_AT_ONCE]


class _TableMerge:
    """The merge of one table, batch by batch."""

    def __init__(
        self,
        connection: sa.Connection,
        layout: TableLayout,
        recorded_now: datetime,
        source: str,
        outcome: MergeOutcome,
    ) -> None:
        self._connection = connection
        self._layout = layout
        self._table = TABLE[layout.name]
        self._key_fields = [column.field for column in layout.key]
        self._recorded_now = recorded_now
        self._source = source
        exclusive = [rule.columns for rule in layout.rules if rule.holds is RowRule.EXACTLY_ONE]
        self._alternatives = [
            {column.field for column in map(layout.column, names) if not column.key} for names in exclusive
        ]
        self._counts = outcome.tables.setdefault(layout.name, TableOutcome())
        self._changes = outcome.changes

    def take(self, rows: Sequence[FolderRow]) -> None:
        known = self._known_rows([self._key_of(row) for row in rows])
        inserts: list[dict[str, Any]] = []
        for row in rows:
            key = self._key_of(row)
            earlier = known.get(key)
            if earlier is None:
                self._counts.added += 1
                inserts += self._first_versions(row, key)
                continue
            changed = self._differences(self._values(row), earlier)
            if not changed or self._is_older_count(row, earlier):
                self._counts.unchanged += 1
            elif self._layout.is_fact:
                inserts.append(self._next_version(row, earlier, changed))
            else:
                self._update(key, earlier, changed)
        self._insert(inserts)

    def _is_older_count(self, row: FolderRow, earlier: dict[str, Any]) -> bool:
        """Stock is the last count and what moved since: an earlier count says nothing of today."""
        told, kept = row.values.get("counted_at"), earlier.get("counted_at")
        return isinstance(told, datetime) and kept is not None and told < kept

    def _key_of(self, row: FolderRow) -> Key:
        return tuple(row.values.get(column.field, column.empty_means) for column in self._layout.key)

    def _known_rows(self, keys: list[Key]) -> dict[Key, dict[str, Any]]:
        columns = [self._table.c[name] for name in self._key_fields]
        wanted = columns[0].in_([key[0] for key in keys]) if len(columns) == 1 else sa.tuple_(*columns).in_(keys)
        query = sa.select(self._table).where(wanted)
        if self._layout.is_fact:
            query = query.where(current_rows(self._table))
        found = self._connection.execute(query).mappings()
        return {tuple(row[name] for name in self._key_fields): dict(row) for row in found}

    def _values(self, row: FolderRow) -> dict[str, Any]:
        values = dict(row.values)
        if row.external_ref is not None:
            values["external_ref"] = row.external_ref
        if row.notes:
            values["notes"] = row.notes
        return values

    def _first_versions(self, row: FolderRow, key: Key) -> list[dict[str, Any]]:
        values = self._values(row) | dict(zip(self._key_fields, key, strict=True))
        if not self._layout.is_fact:
            return [values]
        known_at = self._known_at(row)
        whole = values | {"recorded_at": known_at, "source": self._source}
        if "removed_at" not in values:
            return [whole]
        # The fitting was known before the end of the life was: two versions, so that the past can be replayed.
        known_before = min(values["fitted_at"], known_at - timedelta(microseconds=1))
        begun = {name: value for name, value in whole.items() if name not in _KNOWN_WITH_REMOVAL}
        return [begun | {"recorded_at": known_before, "superseded_at": known_at}, whole]

    def _known_at(self, row: FolderRow) -> datetime:
        """When a row was known by what it says itself; nothing that is imported now was known later than now."""
        if row.recorded_at is None:
            moments = (row.values.get(name) for name in self._layout.known_by)
            at = next((moment for moment in moments if isinstance(moment, datetime)), self._recorded_now)
        else:
            at = _not_before_the_end_of_life(row.recorded_at, row)
        return min(at, self._recorded_now)

    def _next_version(self, row: FolderRow, earlier: dict[str, Any], changed: dict[str, Any]) -> dict[str, Any]:
        if any(earlier[name] is not None for name in changed):
            self._counts.corrected += 1
        else:
            self._counts.completed += 1
        known_at = self._known_at(row)
        if known_at <= earlier["recorded_at"]:
            known_at = max(self._recorded_now, earlier["recorded_at"] + timedelta(microseconds=1))
        self._note_changes(earlier, changed)
        self._connection.execute(
            sa.update(self._table).where(self._table.c.id == earlier["id"]).values(superseded_at=known_at)
        )
        kept = {name: value for name, value in earlier.items() if name != "id"}
        return kept | changed | {"recorded_at": known_at, "superseded_at": None, "source": self._source}

    def _update(self, key: Key, earlier: dict[str, Any], changed: dict[str, Any]) -> None:
        self._counts.updated += 1
        self._note_changes(earlier, changed)
        matches = [self._table.c[name] == part for name, part in zip(self._key_fields, key, strict=True)]
        self._connection.execute(sa.update(self._table).where(*matches).values(**changed))

    def _note_changes(self, earlier: dict[str, Any], changed: dict[str, Any]) -> None:
        key = " ".join(_shown(earlier[name]) for name in self._key_fields if earlier[name] != "")
        for name, new in changed.items():
            old = earlier[name]
            is_correction = self._layout.is_fact and old is not None
            self._changes.append(Change(self._layout.name, key, name, _shown(old), _shown(new), is_correction))

    def _differences(self, told: dict[str, Any], earlier: dict[str, Any]) -> dict[str, Any]:
        changed: dict[str, Any] = {}
        for name, new in (self._unsaid(told) | told).items():
            old = earlier[name]
            value = old | new if name == "notes" and old else new
            if value != old and not self._is_same_day(name, told, earlier):
                changed[name] = value
        return changed

    def _unsaid(self, told: dict[str, Any]) -> dict[str, None]:
        """What a row takes back by telling the other of two that exclude each other."""
        takes_back = (fields - set(told) for fields in self._alternatives if fields & set(told))
        return {name: None for fields in takes_back for name in sorted(fields)}

    def _is_same_day(self, name: str, told: dict[str, Any], earlier: dict[str, Any]) -> bool:
        """Whether both are the same bare date, of which another zone's noon was kept."""
        is_date = f"{name}_is_date"
        if not (told.get(is_date) and earlier.get(is_date)):
            return False
        return bool(days_at_noon(told[name], self._zones) & days_at_noon(earlier[name], self._zones))

    @cached_property
    def _zones(self) -> list[ZoneInfo]:
        return [ZoneInfo(name) for name in self._connection.scalars(sa.select(plants.c.time_zone).distinct())]

    def _insert(self, rows: list[dict[str, Any]]) -> None:
        names = [column.name for column in self._table.columns if column.name != "id"]
        if rows:
            whole = [{name: row.get(name) for name in names} for row in rows]
            self._connection.execute(sa.insert(self._table), whole)


_KNOWN_WITH_REMOVAL = {"removed_at", "removed_at_is_date", "removed_hours", "reason", "condition"}


def _not_before_the_end_of_life(recorded_at: datetime, row: FolderRow) -> datetime:
    """A `recorded_at` that is older than the removal is that of the fitting: the end was known when it came."""
    removed_at = row.values.get("removed_at")
    if not isinstance(removed_at, datetime):
        return recorded_at
    is_date = row.values.get("removed_at_is_date") is True
    return recorded_at if begins_before_it_ends(removed_at, is_date, recorded_at, False) else removed_at


def _shown(value: Any) -> str:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return "" if value is None else str(value)
