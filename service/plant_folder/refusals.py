"""What is wrong with a plant folder, told in full, and what was accepted but deserves a look.

Nothing is changed by a folder with a refusal, so all of them are gathered before the folder is given back.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

TOLD_IN_FULL = 100


class CellRefused(ValueError):
    """A cell cannot be what its column holds; the text names the cell and what was expected."""


class RefusedThroughout(CellRefused):
    """A cell refused for a reason that its column or file shares: told once, with the number of cells."""

    def __init__(self, says: str, *, whole_file: bool = False) -> None:
        super().__init__(says)
        self.whole_file = whole_file


class FileRefused(ValueError):
    """A file that cannot be read as a table at all."""

    def __init__(self, says: str, *, row: int | None = None, value: str | None = None) -> None:
        super().__init__(says)
        self.row = row
        self.value = value


@dataclass(frozen=True, slots=True)
class _Told:
    file: str
    row: int | None
    column: str | None
    value: str | None
    says: str

    def __str__(self) -> str:
        row = None if self.row is None else f"row {self.row}"
        return f"{', '.join(part for part in (self.file, row, self.column) if part)}: {self.says}"


@dataclass(frozen=True, slots=True)
class Refusal(_Told):
    """Why a folder is not taken.

    `row` counts the file's rows with the header as 1; row, column and value are None where the trouble is
    with the whole file, row or column. `column` is the header as the file has it, unit included.
    """


@dataclass(frozen=True, slots=True)
class Remark(_Told):
    """Something that was accepted, with what was made of it; the members are those of `Refusal`."""


class FolderRefused(Exception):
    """Every refusal of a run: the first hundred in full, the rest as a count for each file."""

    def __init__(
        self,
        refusals: tuple[Refusal, ...],
        further: Mapping[str, int] | None = None,
        remarks: tuple[Remark, ...] = (),
    ) -> None:
        self.refusals = refusals
        self.further = dict(further or {})
        self.remarks = remarks
        super().__init__(self._rendered())

    @property
    def count(self) -> int:
        return len(self.refusals) + sum(self.further.values())

    def _rendered(self) -> str:
        lines = [str(refusal) for refusal in self.refusals]
        lines += [f"{file}: and {count} more like these" for file, count in self.further.items()]
        found = "1 error" if self.count == 1 else f"{self.count} errors"
        return "\n".join([*lines, f"{found}; nothing was changed"])


class Findings:
    """Gathers the refusals and remarks of one run."""

    def __init__(self) -> None:
        self._refusals: list[Refusal] = []
        self._further: Counter[str] = Counter()
        self._remarks: list[Remark] = []
        self._further_remarks: Counter[str] = Counter()

    @property
    def has_room(self) -> bool:
        """Whether the next refusal will be told in full, so that a costly text is worth making."""
        return len(self._refusals) < TOLD_IN_FULL

    @property
    def refused(self) -> bool:
        return bool(self._refusals)

    def refuse(self, file: str, row: int | None, column: str | None, value: str | None, says: str) -> None:
        if self.has_room:
            self._refusals.append(Refusal(*_fit_to_show(file, row, column, value), says))
        else:
            self._further[file] += 1

    def remark(self, file: str, row: int | None, column: str | None, value: str | None, says: str) -> None:
        if len(self._remarks) < TOLD_IN_FULL:
            self._remarks.append(Remark(*_fit_to_show(file, row, column, value), says))
        else:
            self._further_remarks[file] += 1

    def in_file(self, file: str) -> "FileFindings":
        return FileFindings(self, file)

    @property
    def remarks(self) -> tuple[Remark, ...]:
        counts = self._further_remarks.items()
        return (
            *self._remarks,
            *(Remark(file, None, None, None, f"and {count} more remarks") for file, count in counts),
        )

    def raise_if_refused(self) -> None:
        if self._refusals:
            raise FolderRefused(tuple(self._refusals), self._further, self.remarks)


class RowFindings(Findings):
    """Gathers them row by row, for rows that are taken though others are refused.

    `refused_rows` and `remarked_rows` are by the row's number; what is wrong with the whole has the number 0. Where
    many rows are wrong one reason is told of each, since all of them are held.
    """

    def __init__(self) -> None:
        super().__init__()
        self.refused_rows: dict[int, list[Refusal]] = {}
        self.remarked_rows: dict[int, list[str]] = {}

    @property
    def has_room(self) -> bool:
        return len(self.refused_rows) < TOLD_IN_FULL

    @property
    def refused(self) -> bool:
        return bool(self.refused_rows)

    def refuse(self, file: str, row: int | None, column: str | None, value: str | None, says: str) -> None:
        told = self.refused_rows.setdefault(row or 0, [])
        if not told or (self.has_room and len(told) < _MOST_OF_A_ROW):
            told.append(Refusal(*_fit_to_show(file, row, column, value), says))

    def remark(self, file: str, row: int | None, column: str | None, value: str | None, says: str) -> None:
        told = self.remarked_rows.setdefault(row or 0, [])
        if len(told) < _MOST_OF_A_ROW:
            told.append(says)

    def raise_if_refused(self) -> None:
        """Only of the whole: a row that is refused leaves the others as they are."""
        if 0 in self.refused_rows:
            raise FolderRefused(tuple(self.refused_rows[0]))


_MOST_OF_A_ROW = 10  # ours: whoever mends these sends the row again


@dataclass(frozen=True, slots=True)
class FileFindings:
    """The findings of a run as one of its files adds to them."""

    whole: Findings
    file: str

    def refuse(self, row: int | None, column: str | None, value: str | None, says: str) -> None:
        self.whole.refuse(self.file, row, column, value, says)

    def remark(self, row: int | None, column: str | None, value: str | None, says: str) -> None:
        self.whole.remark(self.file, row, column, value, says)


_LONGEST_SHOWN = 80
_LONGEST_NAME = 250


def _fit_to_show(
    file: str, row: int | None, column: str | None, value: str | None
) -> tuple[str, int | None, str | None, str | None]:
    column = None if column is None else shown(column, _LONGEST_NAME)
    return shown(file, _LONGEST_NAME), row, column, None if value is None else shown(value)


def shown(text: str, longest: int = _LONGEST_SHOWN) -> str:
    """Text from outside fit to stand in a message: printable, on one line and not endless.

    >>> shown("a\\nb"), shown("0123456789", longest=4)
    ('a\\\\nb', '0123…')
    """
    plain = "".join(sign if sign.isprintable() else repr(sign)[1:-1] for sign in text[:longest])
    return plain if len(text) <= longest else f"{plain}…"
