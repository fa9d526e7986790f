"""How due dates moved, and what each pass could know.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "due_moves",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("plant", sa.Text(), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("pass_id", sa.Integer(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("movement", sa.Text(), nullable=False),
        sa.Column("from_due_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("to_due_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("from_trigger", sa.Text(), nullable=True),
        sa.Column("to_trigger", sa.Text(), nullable=True),
        sa.Column("because", sa.JSON(), nullable=False),
        sa.Column("knew", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["pass_id"], ["passes.id"], name=op.f("fk_due_moves_pass_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_due_moves")),
    )
    with op.batch_alter_table("due_moves", schema=None) as batch_op:
        batch_op.create_index("ix_due_moves_at", ["at"], unique=False)
        batch_op.create_index("uq_due_moves_told", ["position", "pass_id"], unique=True)

    with op.batch_alter_table("passes", schema=None) as batch_op:
        batch_op.add_column(sa.Column("newest_facts", sa.JSON(), nullable=True))
