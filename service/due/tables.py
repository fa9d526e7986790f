"""Planning passes, the due items each left, how the dates moved, and the life priors a full pass pooled."""

import sqlalchemy as sa

from service.database import UtcTime, metadata

passes = sa.Table(
    "passes",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("as_of", UtcTime, nullable=False),
    sa.Column("recorded_at", UtcTime, nullable=False),
    sa.Column("cause", sa.Text, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("slot", UtcTime, unique=True),  # a scheduled pass: the tick that it answers, once
    sa.Column("took_s", sa.Double, nullable=False),
    sa.Column("positions", sa.Integer, nullable=False),
    # the newest row of each table of facts that it could know: what came later is news, however far back it is dated
    sa.Column("newest_facts", sa.JSON),
)

due_items = sa.Table(
    "due_items",
    metadata,
    sa.Column("pass_id", sa.ForeignKey("passes.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("position", sa.Text, primary_key=True),
    sa.Column("system", sa.Text, nullable=False),
    sa.Column("plant", sa.Text, nullable=False),
    sa.Column("time_zone", sa.Text, nullable=False),
    sa.Column("part_number", sa.Text),
    sa.Column("as_of", UtcTime, nullable=False),
    sa.Column("due_at", UtcTime),
    sa.Column("due_early", UtcTime),
    sa.Column("due_median", UtcTime),
    sa.Column("due_late", UtcTime),
    sa.Column("hours_left", sa.Double),
    sa.Column("overdue_hours", sa.Double),
    sa.Column("trigger", sa.Text),
    sa.Column("runner_up", sa.Text),
    sa.Column("without_trigger_at", UtcTime),
    sa.Column("has_pressure", sa.Boolean, nullable=False),
    sa.Column("pressure_hours_left_10", sa.Double),
    sa.Column("pressure_hours_left_50", sa.Double),
    sa.Column("pressure_hours_left_90", sa.Double),
    sa.Column("because", sa.JSON, nullable=False),  # the reason as codes and numbers, worded at the edge
    sa.Column("diagnoses", sa.JSON, nullable=False),
)
sa.Index("ix_due_items_order", due_items.c.pass_id, due_items.c.due_at, due_items.c.position)

due_moves = sa.Table(
    "due_moves",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("position", sa.Text, nullable=False),
    sa.Column("system", sa.Text, nullable=False),
    sa.Column("plant", sa.Text, nullable=False),
    sa.Column("time_zone", sa.Text, nullable=False),
    sa.Column("pass_id", sa.ForeignKey("passes.id"), nullable=False),
    sa.Column("at", UtcTime, nullable=False),
    sa.Column("movement", sa.Text, nullable=False),
    sa.Column("from_due_at", UtcTime),
    sa.Column("to_due_at", UtcTime),
    sa.Column("from_trigger", sa.Text),
    sa.Column("to_trigger", sa.Text),
    sa.Column("because", sa.JSON, nullable=False),  # causes as codes and numbers, the most telling first
    sa.Column("knew", sa.JSON, nullable=False),  # the reason at this telling: the next one is compared with it
)
sa.Index("uq_due_moves_told", due_moves.c.position, due_moves.c.pass_id, unique=True)
sa.Index("ix_due_moves_at", due_moves.c.at)

life_priors = sa.Table(
    "life_priors",
    metadata,
    sa.Column("position", sa.Text, primary_key=True),
    sa.Column("part_number", sa.Text, nullable=False),
    sa.Column("log_median_h", sa.Double, nullable=False),
    sa.Column("log_sd", sa.Double, nullable=False),
    sa.Column("lives_seen", sa.Integer, nullable=False),
    sa.Column("lives_to_limit", sa.Integer, nullable=False),
    sa.Column("own_lives_seen", sa.Integer, nullable=False),
    sa.Column("clean_deviation", sa.Double, nullable=False),
    sa.Column("clean_log_var", sa.Double, nullable=False),
    sa.Column("shape_weights", sa.JSON, nullable=False),
    sa.Column("noise", sa.Double, nullable=False),
    sa.Column("bin_variance", sa.Double, nullable=False),
    sa.Column("pit_a", sa.Double, nullable=False),
    sa.Column("pit_b", sa.Double, nullable=False),
)

learned_curves = sa.Table(
    "learned_curves",
    metadata,
    sa.Column("code", sa.Text, primary_key=True),
    sa.Column("place", sa.Integer, nullable=False),
    sa.Column("rise", sa.JSON, nullable=False),
)
