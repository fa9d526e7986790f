"""Webhooks, and what became of each line that was due to one."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

webhooks = sa.Table(
    "webhooks",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("target", sa.Text, nullable=False),
    sa.Column("types", sa.JSON(none_as_null=True)),  # NULL: every type but drifted dates
    sa.Column("plants", sa.JSON(none_as_null=True)),  # NULL: all of them
    # kept as it is, since each delivery is signed with it: whoever reads the database can sign as we do
    sa.Column("secret", sa.Text, nullable=False),
    sa.Column("created_at", UtcTime, nullable=False),
    sa.Column("created_by", sa.Text, nullable=False),
    sa.Column("paused_at", UtcTime),
    sa.Column("paused_because", sa.Text),
    sa.Column("ended_at", UtcTime),
    sa.Column("after", sa.Integer, nullable=False),  # the last line that has a delivery or was passed over
    sa.Column("claimed_by", sa.Text),
    sa.Column("claimed_until", UtcTime),  # one process at a time sends to a target
)

webhook_deliveries = sa.Table(
    "webhook_deliveries",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("webhook", sa.ForeignKey("webhooks.id"), nullable=False),
    sa.Column("number", sa.Integer, nullable=False),  # of the line; the feed may have given it up since
    sa.Column("event", sa.Text, nullable=False),
    sa.Column("body", sa.Text, nullable=False),  # the very text that is signed and sent, at each attempt the same
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("attempts", sa.Integer, nullable=False),
    sa.Column("next_at", UtcTime),
    sa.Column("last_at", UtcTime),
    sa.Column("last_status", sa.Integer),
    sa.Column("says", sa.Text),
)
sa.Index("uq_webhook_deliveries_line", webhook_deliveries.c.webhook, webhook_deliveries.c.number, unique=True)
sa.Index("ix_webhook_deliveries_state", webhook_deliveries.c.webhook, webhook_deliveries.c.state)
