"""What was checked before jobs, and what it came to.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "checks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("task", sa.Integer(), nullable=True),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("scanned", sa.JSON(), nullable=False),
        sa.Column("verdict", sa.Text(), nullable=False),
        sa.Column("findings", sa.JSON(), nullable=False),
        sa.Column("cautions", sa.JSON(), nullable=False),
        sa.Column("override_reason", sa.Text(), nullable=True),
        sa.Column("recorded_by", sa.Text(), nullable=False),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["task"], ["tasks.id"], name=op.f("fk_checks_task")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_checks")),
    )
    op.create_index("ix_checks_position", "checks", ["position", "id"])
    op.create_index("ix_checks_task", "checks", ["task"])
