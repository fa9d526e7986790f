"""Rows of a file that have the same key: a repeat where they say the same, a contradiction where not."""

from typing import NamedTuple

from service.plant_folder.folder import FolderRow
from service.plant_folder.headers import BoundHeader
from service.plant_folder.layout import TableLayout


class _KeyPart(NamedTuple):
    field: str
    at: int | None
    required: bool
    empty_means: str


class Keys:
    """The keys met so far in one file."""

    def __init__(self, layout: TableLayout, header: BoundHeader) -> None:
        self._header = header
        self._parts: list[_KeyPart] = []
        for column in layout.key:
            bound = header.named(column.name)
            index = None if bound is None else bound.index
            self._parts.append(_KeyPart(column.field, index, column.required, column.empty_means))
        self._key_fields = {part.field for part in self._parts}
        self._first: dict[tuple[object, ...], tuple[FolderRow, list[str]]] = {}

    @property
    def columns(self) -> str:
        indices = {part.at for part in self._parts}
        return ", ".join(bound.header for bound in self._header.columns if bound.index in indices)

    def value(self, cells: list[str]) -> str:
        """The key cells of a row as the file has them."""
        indices = {part.at for part in self._parts}
        given = (cells[bound.index] for bound in self._header.columns if bound.index in indices)
        return ", ".join(cell for cell in given if cell)

    def earlier(self, row: FolderRow, cells: list[str]) -> tuple[FolderRow, list[str]] | None:
        """The first row with the key of this one; a row without a whole key has none and is not kept."""
        key = self._key_of(row, cells)
        if key is None:
            return None
        first = self._first.setdefault(key, (row, cells))
        return None if first[0] is row else first

    def _key_of(self, row: FolderRow, cells: list[str]) -> tuple[object, ...] | None:
        key: list[object] = []
        for field, index, required, empty_means in self._parts:
            value = row.values.get(field)
            if value is None:
                if required or (index is not None and cells[index]):
                    return None
                value = empty_means
            key.append(value)
        return tuple(key)

    def difference(self, row: FolderRow, cells: list[str], first: FolderRow, first_cells: list[str]) -> str:
        """The cells in which two rows of one key differ, in words; '' where they say the same."""
        different = [
            f"{bound.header} is '{cells[bound.index]}' here and '{first_cells[bound.index]}' there"
            for bound in self._header.columns
            if self._differs(bound.column.name, bound.field, row, first)
        ]
        different += [
            f"{header} is '{cells[index]}' here and '{first_cells[index]}' there"
            for index, header in self._header.note_headers
            if row.notes.get(header) != first.notes.get(header)
        ]
        return ", ".join(different)

    def _differs(self, name: str, field: str, row: FolderRow, first: FolderRow) -> bool:
        if name == "external_ref":
            return row.external_ref != first.external_ref
        if name == "recorded_at":
            return row.recorded_at != first.recorded_at
        is_date = f"{name}_is_date"
        if row.values.get(is_date) != first.values.get(is_date):
            return True
        return field not in self._key_fields and row.values.get(field) != first.values.get(field)
