"""Every check before a job, whatever it came to. A row is never changed."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

checks = sa.Table(
    "checks",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("task", sa.ForeignKey("tasks.id")),
    sa.Column("position", sa.Text, nullable=False),  # '' for oil of a whole system
    sa.Column("system", sa.Text, nullable=False),
    sa.Column("at", UtcTime, nullable=False),
    sa.Column("scanned", sa.JSON, nullable=False),
    sa.Column("verdict", sa.Text, nullable=False),
    sa.Column("findings", sa.JSON, nullable=False),
    sa.Column("cautions", sa.JSON, nullable=False),
    sa.Column("override_reason", sa.Text),
    sa.Column("recorded_by", sa.Text, nullable=False),
    sa.Column("recorded_at", UtcTime, nullable=False),
)
sa.Index("ix_checks_position", checks.c.position, checks.c.id)
sa.Index("ix_checks_task", checks.c.task)
