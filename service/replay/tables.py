"""Replays that were asked for, with what they found, and the steps of one that is under way."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

_JSON = sa.JSON(none_as_null=True)

replays = sa.Table(
    "replays",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("plant", sa.Text),
    sa.Column("from_at", UtcTime, nullable=False),
    sa.Column("to_at", UtcTime, nullable=False),
    sa.Column("step_d", sa.Double, nullable=False),
    sa.Column("asked_at", UtcTime, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("steps", sa.Integer, nullable=False),
    sa.Column("steps_done", sa.Integer, nullable=False),
    sa.Column("columns_of", _JSON),  # the systems and positions, in the order of the kept steps' columns
    sa.Column("ended_at", UtcTime),
    sa.Column("error", sa.Text),
    sa.Column("result", _JSON),
)

replay_steps = sa.Table(
    "replay_steps",
    metadata,
    sa.Column("replay_id", sa.Integer, sa.ForeignKey("replays.id"), primary_key=True),
    sa.Column("step", sa.Integer, primary_key=True),
    sa.Column("seen", _JSON, nullable=False),
)
