"""Close-outs as they stand, with what each said before it was corrected.

The installations, readings and movements that follow name their close-out as source, those that follow from a
correction name it too: `close-out 7, correction 2`.
"""

import sqlalchemy as sa

from service.database import UtcTime, metadata

close_outs = sa.Table(
    "close_outs",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("task", sa.ForeignKey("tasks.id"), nullable=False),
    sa.Column("work_order", sa.ForeignKey("work_orders.id"), nullable=False),
    sa.Column("position", sa.Text, nullable=False),
    sa.Column("system", sa.Text, nullable=False),
    sa.Column("at", UtcTime, nullable=False),
    sa.Column("told", sa.JSON, nullable=False),
    sa.Column("mismatches", sa.JSON, nullable=False),
    sa.Column("done_by", sa.Text),
    sa.Column("external_ref", sa.Text),  # the job's code in another system
    sa.Column("recorded_by", sa.Text, nullable=False),
    sa.Column("recorded_at", UtcTime, nullable=False),
    sa.Column("undone_at", UtcTime),  # since when it is known that it never happened
)
sa.Index("ix_close_outs_position", close_outs.c.position, close_outs.c.at)
_happened = close_outs.c.undone_at.is_(None)
sa.Index(
    "uq_close_outs_task",
    close_outs.c.task,
    unique=True,
    sqlite_where=_happened,
    postgresql_where=_happened,
)

close_out_corrections = sa.Table(
    "close_out_corrections",
    metadata,
    sa.Column("close_out", sa.ForeignKey("close_outs.id"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("recorded_at", UtcTime, nullable=False),
    sa.Column("recorded_by", sa.Text, nullable=False),
    sa.Column("why", sa.Text, nullable=False),
    sa.Column("changed", sa.JSON, nullable=False),  # [{member, earlier, new}]
    sa.Column("undone", sa.Boolean, nullable=False),
    sa.Column("earlier_told", sa.JSON, nullable=False),  # what the close-out said until then
    sa.Column("earlier_mismatches", sa.JSON, nullable=False),
)


def happened() -> sa.ColumnElement[bool]:
    """Of close-outs: those that nobody has taken back."""
    return _happened
