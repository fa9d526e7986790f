"""Passes, work, stock movements, imports and keys.

Going back is done from a backup: a downgrade would throw facts away.
"""

import sqlalchemy as sa
from alembic import op

import service.database

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "api_keys",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("secret_sha256", sa.Text(), nullable=False),
        sa.Column("scopes", sa.JSON(), nullable=False),
        sa.Column("created_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("expires_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("revoked_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("last_used_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_keys")),
        sa.UniqueConstraint("name", name=op.f("uq_api_keys_name")),
        sa.UniqueConstraint("secret_sha256", name=op.f("uq_api_keys_secret_sha256")),
    )
    op.create_table(
        "diagnoses",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("severity", sa.Text(), nullable=False),
        sa.Column("numbers", sa.JSON(), nullable=False),
        sa.Column("raised_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("cleared_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_diagnoses")),
    )
    with op.batch_alter_table("diagnoses", schema=None) as batch_op:
        batch_op.create_index(
            "uq_diagnoses_stands",
            ["system", "position", "code"],
            unique=True,
            sqlite_where=sa.text("cleared_at IS NULL"),
            postgresql_where=sa.text("cleared_at IS NULL"),
        )

    op.create_table(
        "imports",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("outcome", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_imports")),
    )
    op.create_table(
        "kept_answers",
        sa.Column("key_name", sa.Text(), nullable=False),
        sa.Column("idempotency_key", sa.Text(), nullable=False),
        sa.Column("request_sha256", sa.Text(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("kept_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("key_name", "idempotency_key", name=op.f("pk_kept_answers")),
    )
    op.create_table(
        "life_priors",
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("log_median_h", sa.Double(), nullable=False),
        sa.Column("log_sd", sa.Double(), nullable=False),
        sa.Column("lives_seen", sa.Integer(), nullable=False),
        sa.Column("lives_to_limit", sa.Integer(), nullable=False),
        sa.Column("own_lives_seen", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("position", name=op.f("pk_life_priors")),
    )
    op.create_table(
        "oil_movements",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("fluid", sa.Text(), nullable=False),
        sa.Column("store", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("container_L", sa.Double(), nullable=False),
        sa.Column("quantity", sa.Double(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_oil_movements")),
    )
    op.create_table(
        "passes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("as_of", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("slot", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("took_s", sa.Double(), nullable=False),
        sa.Column("positions", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_passes")),
        sa.UniqueConstraint("slot", name=op.f("uq_passes_slot")),
    )
    op.create_table(
        "stock_discrepancies",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_number", sa.Text(), nullable=True),
        sa.Column("fluid", sa.Text(), nullable=True),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("missing", sa.Double(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_discrepancies")),
    )
    op.create_table(
        "stock_movements",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("store", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_movements")),
    )
    with op.batch_alter_table("stock_movements", schema=None) as batch_op:
        batch_op.create_index("ix_stock_movements_lot", ["part_number", "store", "lot", "at"], unique=False)

    op.create_table(
        "due_items",
        sa.Column("pass_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("plant", sa.Text(), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("part_number", sa.Text(), nullable=True),
        sa.Column("as_of", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("due_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("due_early", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("due_median", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("due_late", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("hours_left", sa.Double(), nullable=True),
        sa.Column("overdue_hours", sa.Double(), nullable=True),
        sa.Column("trigger", sa.Text(), nullable=True),
        sa.Column("runner_up", sa.Text(), nullable=True),
        sa.Column("without_trigger_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("has_pressure", sa.Boolean(), nullable=False),
        sa.Column("pressure_hours_left_10", sa.Double(), nullable=True),
        sa.Column("pressure_hours_left_50", sa.Double(), nullable=True),
        sa.Column("pressure_hours_left_90", sa.Double(), nullable=True),
        sa.Column("because", sa.JSON(), nullable=False),
        sa.Column("diagnoses", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["pass_id"], ["passes.id"], name=op.f("fk_due_items_pass_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("pass_id", "position", name=op.f("pk_due_items")),
    )
    with op.batch_alter_table("due_items", schema=None) as batch_op:
        batch_op.create_index("ix_due_items_order", ["pass_id", "due_at", "position"], unique=False)

    op.create_table(
        "work_orders",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plant", sa.Text(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("planned_for", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("stop_starts_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("stop_ends_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("raised_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("raised_by", sa.Text(), nullable=False),
        sa.Column("issued_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("issued_by", sa.Text(), nullable=True),
        sa.Column("started_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("started_by", sa.Text(), nullable=True),
        sa.Column("ended_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("acknowledged_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("acknowledged_by", sa.Text(), nullable=True),
        sa.Column("external_ref", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["plant"], ["plants.plant"], name=op.f("fk_work_orders_plant")),
        sa.ForeignKeyConstraint(["system"], ["systems.system"], name=op.f("fk_work_orders_system")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_work_orders")),
    )
    with op.batch_alter_table("work_orders", schema=None) as batch_op:
        batch_op.create_index("ix_work_orders_state", ["state", "planned_for"], unique=False)

    op.create_table(
        "tasks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("work_order", sa.Integer(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("due_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("trigger", sa.Text(), nullable=True),
        sa.Column("because", sa.JSON(), nullable=False),
        sa.Column("proposal", sa.JSON(), nullable=True),
        sa.Column("opened_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("ended_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["system"], ["systems.system"], name=op.f("fk_tasks_system")),
        sa.ForeignKeyConstraint(["work_order"], ["work_orders.id"], name=op.f("fk_tasks_work_order")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tasks")),
    )
    with op.batch_alter_table("tasks", schema=None) as batch_op:
        batch_op.create_index("ix_tasks_work_order", ["work_order"], unique=False)
        batch_op.create_index(
            "uq_tasks_open",
            ["system", "position", "kind"],
            unique=True,
            sqlite_where=sa.text("state = 'open'"),
            postgresql_where=sa.text("state = 'open'"),
        )

    op.create_table(
        "close_outs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("task", sa.Integer(), nullable=False),
        sa.Column("work_order", sa.Integer(), nullable=False),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("at", service.database.UtcTime(timezone=True), nullable=False),
        sa.Column("told", sa.JSON(), nullable=False),
        sa.Column("mismatches", sa.JSON(), nullable=False),
        sa.Column("done_by", sa.Text(), nullable=True),
        sa.Column("recorded_by", sa.Text(), nullable=False),
        sa.Column("recorded_at", service.database.UtcTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["task"], ["tasks.id"], name=op.f("fk_close_outs_task")),
        sa.ForeignKeyConstraint(["work_order"], ["work_orders.id"], name=op.f("fk_close_outs_work_order")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_close_outs")),
        sa.UniqueConstraint("task", name=op.f("uq_close_outs_task")),
    )
    with op.batch_alter_table("close_outs", schema=None) as batch_op:
        batch_op.create_index("ix_close_outs_position", ["position", "at"], unique=False)

    op.create_table(
        "picks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("task", sa.Integer(), nullable=False),
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("instead_of", sa.Text(), nullable=True),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("store", sa.Text(), nullable=True),
        sa.Column("lot", sa.Text(), nullable=True),
        sa.Column("bin", sa.Text(), nullable=True),
        sa.Column("arrives_at", service.database.UtcTime(timezone=True), nullable=True),
        sa.Column("arrives_with", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["task"], ["tasks.id"], name=op.f("fk_picks_task")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_picks")),
    )
    with op.batch_alter_table("picks", schema=None) as batch_op:
        batch_op.create_index("ix_picks_task", ["task"], unique=False)
