"""Parts and oil held for a job: reservations of picks, and picks of oil.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("picks") as picks:
        picks.add_column(sa.Column("reserved_at", service.database.UtcTime(timezone=True), nullable=True))
        picks.add_column(sa.Column("reserved_by", sa.Text(), nullable=True))
    op.create_table(
        "oil_picks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("task", sa.Integer(), nullable=False),
        sa.Column("fluid", sa.Text(), nullable=False),
        sa.Column("volume_L", sa.Double(), nullable=False),
        sa.Column("container_L", sa.Double(), nullable=True),
        sa.Column("store", sa.Text(), nullable=True),
        sa.Column("lot", sa.Text(), nullable=True),
        sa.Column("arrives_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("arrives_with", sa.Text(), nullable=True),
        sa.Column("reserved_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("reserved_by", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["task"], ["tasks.id"], name=op.f("fk_oil_picks_task_tasks")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_oil_picks")),
    )
    op.create_index("ix_oil_picks_task", "oil_picks", ["task"])
