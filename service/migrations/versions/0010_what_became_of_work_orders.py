"""What became of each work order, step by step.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "order_history",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("work_order", sa.Integer(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("step", sa.Text(), nullable=False),
        sa.Column("task", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["work_order"], ["work_orders.id"], name=op.f("fk_order_history_work_order_work_orders")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_order_history")),
    )
    op.create_index("ix_order_history_work_order", "order_history", ["work_order"])
    # what the orders themselves tell of their past
    for step in ("raised", "issued", "started"):
        op.execute(
            f'INSERT INTO order_history (work_order, at, "by", step) '  # noqa: S608 - three words of ours
            f"SELECT id, {step}_at, {step}_by, '{step}' FROM work_orders WHERE {step}_at IS NOT NULL ORDER BY id"
        )
