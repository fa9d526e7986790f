"""Demand as it was forecast, to be held against what is used.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "demand_forecasts",
        sa.Column("made_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("is_fluid", sa.Boolean(), nullable=False),
        sa.Column("item", sa.Text(), nullable=False),
        sa.Column("starts_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("ends_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("step", sa.Double(), nullable=False),
        sa.Column("first_count", sa.Integer(), nullable=False),
        sa.Column("probability", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("made_at", "is_fluid", "item", "starts_at", name=op.f("pk_demand_forecasts")),
    )
    op.create_index("ix_demand_forecasts_ends", "demand_forecasts", ["ends_at"])
