"""Corrections of close-outs; a task whose close-out was taken back can be closed again.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("close_outs", schema=None) as batch_op:
        batch_op.add_column(sa.Column("undone_at", service.database.UtcTime(timezone=True), nullable=True))
        batch_op.drop_constraint(op.f("uq_close_outs_task"), type_="unique")
    op.create_index(
        "uq_close_outs_task",
        "close_outs",
        ["task"],
        unique=True,
        sqlite_where=sa.text("undone_at IS NULL"),
        postgresql_where=sa.text("undone_at IS NULL"),
    )
    op.create_table(
        "close_out_corrections",
        sa.Column("close_out", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("changed", sa.JSON(), nullable=False),
        sa.Column("undone", sa.Boolean(), nullable=False),
        sa.Column("earlier_told", sa.JSON(), nullable=False),
        sa.Column("earlier_mismatches", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["close_out"], ["close_outs.id"], name=op.f("fk_close_out_corrections_close_out")),
        sa.PrimaryKeyConstraint("close_out", "number", name=op.f("pk_close_out_corrections")),
    )
