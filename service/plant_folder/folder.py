"""A plant folder that was read: canonical rows by table."""

from dataclasses import dataclass, field
from datetime import datetime

from service.plant_folder.refusals import Remark


@dataclass(slots=True)
class FolderRow:
    """One row. `line` is its number in the file, the header being 1.

    `values` holds non-empty cells only, by `Column.field`: text, codes and choices as str, quantities and
    numbers as float in the canonical unit, pieces and money (minor units) as int, word lists as list[str],
    moments as datetime in UTC with `<name>_is_date` beside them. `notes` are the `x_` columns by header.
    """

    line: int
    values: dict[str, object]
    notes: dict[str, str] = field(default_factory=dict)
    external_ref: str | None = None
    recorded_at: datetime | None = None


@dataclass(slots=True)
class Folder:
    """The tables that the folder holds, in the order of `layout.TABLES`, and what is worth a look."""

    tables: dict[str, list[FolderRow]]
    remarks: tuple[Remark, ...] = ()
