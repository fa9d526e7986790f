"""What jobs found in housings and in the oil.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "findings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("at_is_date", sa.Boolean(), nullable=False),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("found", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("notes", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("superseded_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["system"], ["systems.system"], name=op.f("fk_findings_system")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_findings")),
    )
    op.create_index("ix_findings_versions", "findings", ["system", "recorded_at"])
    op.create_index(
        "uq_findings_holds_now",
        "findings",
        ["system", "at", "position"],
        unique=True,
        sqlite_where=sa.text("superseded_at IS NULL"),
        postgresql_where=sa.text("superseded_at IS NULL"),
    )
