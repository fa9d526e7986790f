"""The feed, the newest number given, and what was last told of each subject."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

feed = sa.Table(
    "feed",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("id", sa.Text, nullable=False, unique=True),
    sa.Column("type", sa.Text, nullable=False),
    sa.Column("at", UtcTime, nullable=False),
    sa.Column("plant", sa.Text, nullable=False),
    sa.Column("system", sa.Text, nullable=False),
    sa.Column("position", sa.Text),  # null: of a whole system, or of an order
    sa.Column("subject", sa.Text, nullable=False),
    sa.Column("data", sa.JSON, nullable=False),
)
sa.Index("ix_feed_plant", feed.c.plant, feed.c.number)

feed_newest = sa.Table(
    "feed_newest",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),  # always 1
    sa.Column("number", sa.Integer, nullable=False),
)
"""One row: it outlives what is pruned, so that numbers never begin again."""

feed_told = sa.Table(
    "feed_told",
    metadata,
    sa.Column("kind", sa.Text, primary_key=True),
    sa.Column("subject", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("picture", sa.JSON, nullable=False),
)
"""Of work orders, shortages, diagnoses that stand and close-outs: the picture that was last told."""

feed_told_dates = sa.Table(
    "feed_told_dates",
    metadata,
    sa.Column("position", sa.Text, primary_key=True),
    sa.Column("system", sa.Text, nullable=False),
    sa.Column("plant", sa.Text, nullable=False),
    sa.Column("due_at", UtcTime),
    sa.Column("due_early", UtcTime),
    sa.Column("due_median", UtcTime),
    sa.Column("due_late", UtcTime),
    sa.Column("trigger", sa.Text),
)
"""The same of due dates, in columns: a pass compares a whole plant's in one query."""
