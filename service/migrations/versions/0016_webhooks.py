"""Webhooks and their deliveries.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "webhooks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("target", sa.Text(), nullable=False),
        sa.Column("types", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("plants", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("created_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("paused_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("paused_because", sa.Text(), nullable=True),
        sa.Column("ended_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("after", sa.Integer(), nullable=False),
        sa.Column("claimed_by", sa.Text(), nullable=True),
        sa.Column("claimed_until", service.database.UtcTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_webhooks")),
    )
    op.create_table(
        "webhook_deliveries",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("webhook", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("event", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("next_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("last_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("last_status", sa.Integer(), nullable=True),
        sa.Column("says", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["webhook"], ["webhooks.id"], name=op.f("fk_webhook_deliveries_webhook")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_webhook_deliveries")),
    )
    op.create_index("uq_webhook_deliveries_line", "webhook_deliveries", ["webhook", "number"], unique=True)
    op.create_index("ix_webhook_deliveries_state", "webhook_deliveries", ["webhook", "state"])
