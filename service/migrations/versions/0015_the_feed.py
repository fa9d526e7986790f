"""The feed of what changed, and what was last told in it.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "feed",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("type", sa.Text(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("plant", sa.Text(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("position", sa.Text(), nullable=True),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_feed")),
        sa.UniqueConstraint("id", name=op.f("uq_feed_id")),
    )
    op.create_index("ix_feed_plant", "feed", ["plant", "number"])
    op.create_table(
        "feed_newest",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_feed_newest")),
    )
    op.create_table(
        "feed_told",
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("subject", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("picture", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("kind", "subject", name=op.f("pk_feed_told")),
    )
    op.create_table(
        "feed_told_dates",
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("plant", sa.Text(), nullable=False),
        sa.Column("due_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("due_early", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("due_median", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("due_late", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("trigger", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("position", name=op.f("pk_feed_told_dates")),
    )
