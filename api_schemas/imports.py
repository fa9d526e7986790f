"""The outcome of importing a plant folder."""

from datetime import datetime

from pydantic import BaseModel, ConfigDict

_OUT = ConfigDict(extra="forbid", frozen=True)


class TableCounts(BaseModel):
    model_config = _OUT

    added: int
    updated: int
    corrected: int
    completed: int
    unchanged: int


class Change(BaseModel):
    """A value that the folder changed; the earlier one is kept where `is_correction`."""

    model_config = _OUT

    table: str
    key: str
    column: str
    earlier: str
    new: str
    is_correction: bool


class Remark(BaseModel):
    """Something that was taken, and should be looked at."""

    model_config = _OUT

    file: str
    row: int | None
    column: str | None
    value: str | None
    says: str


class ImportOutcome(BaseModel):
    """`id` is null for a dry run."""

    model_config = _OUT

    id: int | None
    dry_run: bool
    recorded_at: datetime
    tables: dict[str, TableCounts]
    changes: list[Change]
    changes_left_out: int
    remarks: list[Remark]
    remarks_left_out: int
