"""What a folder's rows change in what is known: new rows, updates, corrections that keep the earlier value.

An empty cell never erases and a missing row deletes nothing, so only the cells that a row has are compared.
Everything happens in the caller's transaction; a dry run is the same merge, undone.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from service.plant_folder.bare_dates import days_at_noon
from service.plant_folder.folder import Folder, FolderRow
from service.plant_folder.ingest import Ingest
from service.plant_folder.known_rows import Key, KnownRows
from service.plant_folder.layout import TABLES, RowRule, TableLayout
from service.plant_folder.row_checks import begins_before_it_ends
from service.plant_folder.tables import TABLE, plants

MOST_CHANGES_KEPT = 1000
"""Of one merge: further changes are made and counted like these, and not kept to be told."""

Progress = Callable[[str, int, int], None]

TellRow = Callable[[FolderRow, Mapping[str, Any] | None, Mapping[str, Any]], None]
"""Told of each row the version that was known before, None for a new one, and the fields that it changes."""


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
    """`changes` are the first thousand, and every one of a plant."""

    tables: dict[str, TableOutcome] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    changes_in_all: int = 0

    @property
    def changes_anything(self) -> bool:
        return any(t.added or t.updated or t.corrected or t.completed for t in self.tables.values())

    def note(self, change: Change) -> None:
        self.changes_in_all += 1
        if len(self.changes) < MOST_CHANGES_KEPT or change.table == plants.name:
            self.changes.append(change)


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
        with Ingest(connection, TABLE[layout.name]) as ingest:
            merge = _TableMerge(connection, layout, ingest, recorded_now, source, outcome)
            done = 0
            for block in rows.blocks():
                merge.take(block)
                done += len(block)
                if progress:
                    progress(layout.name, done, len(rows))
            merge.close()
    return outcome


def merge_rows(
    connection: sa.Connection,
    layout: TableLayout,
    blocks: Iterable[Sequence[FolderRow]],
    *,
    recorded_now: datetime,
    source: str,
    tell: TellRow,
) -> MergeOutcome:
    """Merge rows of one table, each key once among all of them, telling what becomes of each."""
    outcome = MergeOutcome()
    with Ingest(connection, TABLE[layout.name]) as ingest:
        merge = _TableMerge(connection, layout, ingest, recorded_now, source, outcome, tell)
        for block in blocks:
            merge.take(block)
        merge.close()
    return outcome


class _TableMerge:
    """The merge of one table, batch by batch."""

    def __init__(
        self,
        connection: sa.Connection,
        layout: TableLayout,
        ingest: Ingest,
        recorded_now: datetime,
        source: str,
        outcome: MergeOutcome,
        tell: TellRow | None = None,
    ) -> None:
        self._tell = tell
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
        self._empty_means = {column.field: column.empty_means for column in layout.key if not column.required}
        self._counts = outcome.tables.setdefault(layout.name, TableOutcome())
        self._outcome = outcome
        self._ingest = ingest
        self._known = KnownRows(connection, layout, before_asking=ingest.finish)
        self._ended: list[dict[str, Any]] = []

    def take(self, rows: Sequence[FolderRow]) -> None:
        known = self._known.of(rows)
        inserts: list[dict[str, Any]] = []
        for row in rows:
            earlier = known.get(self._known.key_of(row)) if known else None
            if earlier is None:
                self._counts.added += 1
                inserts += self._first_versions(row)
                if self._tell:
                    self._tell(row, None, {})
                continue
            changed = self._differences(self._values(row), earlier)
            if changed and self._is_older_count(row, earlier):
                changed = {}
            if self._tell:
                self._tell(row, earlier, changed)
            if not changed:
                self._counts.unchanged += 1
            elif self._layout.is_fact:
                inserts.append(self._next_version(row, earlier, changed))
            else:
                self._update(self._known.key_of(row), earlier, changed)
        self._end_versions()
        self._ingest.insert(inserts)

    def close(self) -> None:
        self._known.close()

    def _is_older_count(self, row: FolderRow, earlier: dict[str, Any]) -> bool:
        """Stock is the last count and what moved since: an earlier count says nothing of today."""
        told, kept = row.values.get("counted_at"), earlier.get("counted_at")
        return isinstance(told, datetime) and kept is not None and told < kept

    def _values(self, row: FolderRow) -> dict[str, Any]:
        values = dict(row.values)
        if row.external_ref is not None:
            values["external_ref"] = row.external_ref
        if row.notes:
            values["notes"] = row.notes
        return values

    def _first_versions(self, row: FolderRow) -> list[dict[str, Any]]:
        values: dict[str, Any] = self._empty_means | row.values
        if row.external_ref is not None or row.notes:
            values |= self._values(row)
        if not self._layout.is_fact:
            return [values]
        known_at = values["recorded_at"] = self._known_at(row)
        values["source"] = self._source
        if "removed_at" not in values:
            return [values]
        # The fitting was known before the end of the life was: two versions, so that the past can be replayed.
        known_before = min(values["fitted_at"], known_at - timedelta(microseconds=1))
        begun = {name: value for name, value in values.items() if name not in _KNOWN_WITH_REMOVAL}
        return [begun | {"recorded_at": known_before, "superseded_at": known_at}, values]

    def _known_at(self, row: FolderRow) -> datetime:
        """When a row was known by what it says itself; nothing that is imported now was known later than now."""
        if row.recorded_at is None:
            for name in self._layout.known_by:
                at = row.values.get(name)
                if isinstance(at, datetime):
                    break
            else:
                at = self._recorded_now
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
        self._ended.append({"ended_id": earlier["id"], "ended_at": known_at})
        kept = {name: value for name, value in earlier.items() if name != "id"}
        return kept | changed | {"recorded_at": known_at, "superseded_at": None, "source": self._source}

    def _end_versions(self) -> None:
        if self._ended:
            self._ingest.finish()
            ended = sa.update(self._table).where(self._table.c.id == sa.bindparam("ended_id"))
            self._connection.execute(ended.values(superseded_at=sa.bindparam("ended_at")), self._ended)
            self._ended = []

    def _update(self, key: Key, earlier: dict[str, Any], changed: dict[str, Any]) -> None:
        self._counts.updated += 1
        self._note_changes(earlier, changed)
        self._ingest.finish()
        matches = [self._table.c[name] == part for name, part in zip(self._key_fields, key, strict=True)]
        self._connection.execute(sa.update(self._table).where(*matches).values(**changed))

    def _note_changes(self, earlier: dict[str, Any], changed: dict[str, Any]) -> None:
        key = " ".join(_shown(earlier[name]) for name in self._key_fields if earlier[name] != "")
        for name, new in changed.items():
            old = earlier[name]
            is_correction = self._layout.is_fact and old is not None
            self._outcome.note(Change(self._layout.name, key, name, _shown(old), _shown(new), is_correction))

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
        self._ingest.finish()
        return [ZoneInfo(name) for name in self._connection.scalars(sa.select(plants.c.time_zone).distinct())]


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
