"""Replays of the past, with the steps of one that is under way.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "replays",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plant", sa.Text(), nullable=True),
        sa.Column("from_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("to_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("step_d", sa.Double(), nullable=False),
        sa.Column("asked_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("steps", sa.Integer(), nullable=False),
        sa.Column("steps_done", sa.Integer(), nullable=False),
        sa.Column("columns_of", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("ended_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("error", sa.Text(), nullable=True),
        sa.Column("result", sa.JSON(none_as_null=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_replays")),
    )
    op.create_table(
        "replay_steps",
        sa.Column("replay_id", sa.Integer(), nullable=False),
        sa.Column("step", sa.Integer(), nullable=False),
        sa.Column("seen", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(["replay_id"], ["replays.id"], name=op.f("fk_replay_steps_replay_id")),
        sa.PrimaryKeyConstraint("replay_id", "step", name=op.f("pk_replay_steps")),
    )
